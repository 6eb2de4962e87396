package main

import (
	"fmt"

	"falsework/supports/prove"

	"gonum.org/v1/gonum/spatial/r3"
)

// sheetsOf counts the sheets of a proof, which are pierced, and the rest, which are
// steps that stay.
func sheetsOf(list []prove.Sheet) (sheets, steps int) {
	for _, h := range list {
		if h.PiercedMM2 > 0 {
			sheets++
		} else {
			steps++
		}
	}
	return sheets, steps
}

// closedWords sums up what is printed onto the part under ceilings.
func closedWords(sheets, steps int, pierced float64) string {
	words := ""
	if sheets > 0 {
		words = fmt.Sprintf("%s closed by a sheet: pierce %.1f mm² after printing", count(sheets, "opening", "openings"), pierced)
	}
	if sheets > 0 && steps > 0 {
		words += "; "
	}
	if steps > 0 {
		words += count(steps, "pocket", "pockets") + " with bridging steps, which stay"
	}
	return words
}

// shallower returns the least and the most that sheets and steps take off the depth of
// a pocket, in mm.
func shallower(list []prove.Sheet) (mm [2]float64) {
	for i, h := range list {
		d := to(h.Bounds.Max.Z-h.Bounds.Min.Z, 3)
		if i == 0 {
			mm = [2]float64{d, d}
		}
		mm = [2]float64{min(mm[0], d), max(mm[1], d)}
	}
	return mm
}

// seatWords tell the same.
func seatWords(mm [2]float64) string {
	if mm[0] == mm[1] {
		return fmt.Sprintf("the ceiling comes %.2g mm lower", mm[0])
	}
	return fmt.Sprintf("the ceilings come %.2g to %.2g mm lower", mm[0], mm[1])
}

// mostClosings bounds the sheets and steps that a print sheet lists one by one.
const mostClosings = 12

// closingRows say what is to be done about each sheet and step after printing.
func closingRows(list []prove.Sheet) (out []string) {
	for i, h := range list {
		if i == mostClosings {
			return append(out, fmt.Sprintf("And %d more like these: look under every pocket.", len(list)-i))
		}
		at := fmt.Sprintf("x %.1f, y %.1f, z %.1f mm", h.At.X, h.At.Y, h.At.Z)
		deep := h.Bounds.Max.Z - h.Bounds.Min.Z
		if h.PiercedMM2 > 0 {
			out = append(out, fmt.Sprintf("Pierce the sheet at %s: it is %.2g mm thick and closes %.1f mm² of hole. Drill it through, or cut round its rim with a sharp knife.", at, deep, h.PiercedMM2))
		} else {
			out = append(out, fmt.Sprintf("Leave the steps under the pocket's ceiling at %s: the hole stands on them, and the pocket is %.2g mm shallower for them.", at, deep))
		}
	}
	return out
}

// ofSheet tells whether a shell is one of a sheet or of steps.
func ofSheet(shell r3.Box, list []prove.Sheet) bool {
	const slack = 0.25 // mm: boxes of the proof are in cells and layers
	for _, h := range list {
		if b := h.Bounds; shell.Min.X > b.Min.X-slack && shell.Min.Y > b.Min.Y-slack && shell.Min.Z > b.Min.Z-slack &&
			shell.Max.X < b.Max.X+slack && shell.Max.Y < b.Max.Y+slack && shell.Max.Z < b.Max.Z+slack {
			return true
		}
	}
	return false
}

// sheetsAlone tells whether sheets and steps are all the supports that there are at
// the layers of a row, and all of them print.
func sheetsAlone(v *prove.Void) bool {
	return v.Grade == prove.VoidNone && v.SheetMM2[1]+v.SheetMM2[2]+v.SheetMM2[3] > 0
}
