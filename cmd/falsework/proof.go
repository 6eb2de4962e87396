package main

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/prove"
)

// proofReport is the short form of a proof.
type proofReport struct {
	Verdict                string   `json:"verdict"` // holds or fails
	UnheldMM2              float64  `json:"unheld_mm2"`
	UnheldBestDirectionMM2 float64  `json:"unheld_best_direction_mm2"`
	CollisionsMM3          float64  `json:"collisions_mm3"`
	BlockedBodies          int      `json:"blocked_bodies"`   // with no way out as a whole
	LockedBodies           int      `json:"locked_bodies"`    // that do not come off whole nor in pieces
	InPieces               int      `json:"bodies_in_pieces"` // that come off in pieces
	Reasons                []string `json:"reasons"`          // the most harmful first
	BreakOrder             []string `json:"break_order"`      // of those, step by step
	Unsteady               []string `json:"unsteady"`         // what may bend, let go or tip while it prints: fails nothing
}

func shortProof(r prove.Report) proofReport {
	p := proofReport{
		Verdict: string(r.Verdict), UnheldMM2: to(r.UnheldMM2, 4), UnheldBestDirectionMM2: to(r.UnheldBestDirectionMM2, 4),
		CollisionsMM3: to(r.CollisionsMM3, 4), BlockedBodies: r.BlockedBodies, Reasons: []string{}, BreakOrder: []string{}, Unsteady: []string{},
	}
	p.LockedBodies = r.LockedBodies
	for i := range r.Bodies {
		if len(r.Bodies[i].Pieces) > 0 {
			p.InPieces++
		}
	}
	rows, _ := breakRows(r.Bodies)
	for _, b := range rows {
		p.BreakOrder = append(p.BreakOrder, b.words())
	}
	for _, note := range r.Notes {
		if note.Kind == prove.Sways || note.Kind == prove.LetsGo || note.Kind == prove.Tips {
			text := strings.TrimSuffix(note.Text, ".")
			if note.ID != "" {
				text += " (nearest is " + note.ID + ")"
			}
			p.Unsteady = append(p.Unsteady, text)
		}
	}
	for _, why := range r.Reasons {
		text := strings.TrimSuffix(why.Text, ".")
		if why.ID != "" {
			text += " (nearest is " + why.ID + ")"
		}
		if why.Remedy != "" {
			text += "; " + why.Remedy
		}
		p.Reasons = append(p.Reasons, text)
	}
	return p
}

// words sums a proof up in a line.
func (p proofReport) words(layerMM float64) string {
	text := fmt.Sprintf("%s at layers of %g mm: %.4g mm² unheld (%.4g bridged the best way), %.4g mm³ inside the part, %s",
		strings.ToUpper(p.Verdict), layerMM, p.UnheldMM2, p.UnheldBestDirectionMM2, p.CollisionsMM3,
		count(p.LockedBodies, "body that cannot come off", "bodies that cannot come off"))
	if p.InPieces > 0 {
		text += ", " + count(p.InPieces, "that comes off in pieces", "that come off in pieces")
	}
	return text
}

// proofDocument is what the proof file holds.
type proofDocument struct {
	Part     string        `json:"part"`
	Settings proofSettings `json:"settings"`
	Heights  []float64     `json:"heights_mm,omitempty"` // declared besides the settings' own
	Proof    prove.Report  `json:"proof"`
	Voids    []prove.Void  `json:"voids"`
}

// proofSettings are those of the plan under JSON's names.
type proofSettings struct {
	Nozzle    float64 `json:"nozzle_mm"`
	Line      float64 `json:"line_mm"`
	Layer     float64 `json:"layer_mm"`
	First     float64 `json:"first_layer_mm"`
	Limit     float64 `json:"limit_deg"`
	Bridge    float64 `json:"bridge_mm"`
	Gap       float64 `json:"gap_mm"`
	Direction string  `json:"direction"`
	Wall      float64 `json:"wall_mm"`
	Clearance float64 `json:"clearance_mm"`
	Lean      float64 `json:"lean_deg"`
	Margin    float64 `json:"margin"`
	Cell      float64 `json:"cell_mm"`
	LoneLedge float64 `json:"ledge_mm,omitempty"`
	Drag      float64 `json:"drag_n"`
	Adhesion  float64 `json:"adhesion_mpa"`
}

func (d proofDocument) encode(w io.Writer) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	return enc.Encode(d)
}

// slice is a set of cells of one layer.
type slice struct {
	k     int
	cells raster.Bits
}

func slicesOf(lists ...[]prove.Spot) []slice {
	var out []slice
	for _, list := range lists {
		for _, s := range list {
			out = append(out, slice{s.K, s.Cells})
		}
	}
	return out
}

// mostTold bounds the reasons that a picture tells in words.
const mostTold = 1

// proofDrawing returns what the pictures of a proof show.
func proofDrawing(title string, part, sup *mesh.Mesh, lay raster.Layers, r prove.Report, s supports.Settings) drawing {
	d := drawing{
		title: title, part: part, supports: sup, grid: r.Grid, layers: lay, sheets: r.Sheets,
		pads: slicesOf(r.Contacts), unheld: slicesOf(r.UnheldSpots, r.SupportSpots),
		failed: r.Verdict != prove.Holds, verdict: "holds, any bridging direction",
	}
	bare := len(sup.Triangles) == 0
	if s.Direction.Stated {
		d.verdict = "holds, bridges laid at " + s.Direction.String()
	}
	switch {
	case d.failed:
		d.verdict = string(prove.Fails)
		for n, why := range r.Reasons {
			p := spot{at: why.At}
			if why.Kind == prove.PartUnheld || why.Kind == prove.SupportUnheld {
				p.areaMM2 = why.AreaMM2
			}
			d.spots = append(d.spots, p)
			switch left := len(r.Reasons) - n; {
			case n < mostTold || left == 1 && n == mostTold:
				d.notes = append(d.notes, fmt.Sprintf("%d: %s at x %.1f, y %.1f, z %.2f", n+1, kindAndSize(&why), why.At.X, why.At.Y, why.LayerZ))
			case n == mostTold:
				d.notes = append(d.notes, fmt.Sprintf("and %d more reasons", left))
			}
		}
	case bare:
		d.verdict = "holds as it is"
	}
	if !d.failed {
		d.notes = append(d.notes, "Print in this pose, automatic supports off.")
	}
	if bare {
		d.notes = append(d.notes, "Nothing to break away. This is no strength calculation.")
	} else {
		d.notes = append(d.notes, shortCaution)
	}
	return d
}
