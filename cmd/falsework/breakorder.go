package main

import (
	"fmt"
	"math"
	"strings"

	"falsework/supports/prove"
)

// breakRow is one step in taking a support off that comes off in pieces.
type breakRow struct {
	No, Step   int
	Snap, Take string
	free       bool // there is nothing to snap
}

// mostBreaks bounds the steps that a sheet lists.
const mostBreaks = 60

// breakRows tell in which order supports are snapped, where, and which way each piece
// goes. Rows are in the order in which they are done; more is how many are left out.
func breakRows(bodies []prove.Body) (rows []breakRow, more int) {
	for i := range bodies {
		for n := range bodies[i].Pieces {
			if len(rows) == mostBreaks {
				more++
				continue
			}
			q := &bodies[i].Pieces[n]
			lo, hi := q.Bounds.Min, q.Bounds.Max
			rows = append(rows, breakRow{
				No: bodies[i].ID, Step: n + 1, Snap: snapWords(q.Necks, n+1 == len(bodies[i].Pieces)), free: len(q.Necks) == 0,
				Take: fmt.Sprintf("take what lies at x %g to %g, y %g to %g, z %g to %g mm %s",
					to(lo.X, 1), to(hi.X, 1), to(lo.Y, 1), to(hi.Y, 1), to(lo.Z, 1), to(hi.Z, 1), wayWords(q.Way)),
			})
		}
	}
	return rows, more
}

// snapWords tell where a piece is broken away.
func snapWords(necks []prove.Neck, last bool) string {
	if len(necks) == 0 {
		if last {
			return "nothing: this is what is left"
		}
		return "nothing: it hangs on none of the others"
	}
	var at []string
	for _, n := range necks {
		at = append(at, fmt.Sprintf("at x %g, y %g, z %g mm (about %.2g N)", to(n.At.X, 1), to(n.At.Y, 1), to(n.At.Z, 1), n.ForceN))
	}
	return "snap it " + strings.Join(at, " and ")
}

// wayWords say which way something is taken out, empty where there is no way.
func wayWords(w prove.Way) string {
	switch v := w.Vector(); {
	case v.X == 0 && v.Y == 0 && v.Z == 0:
		return ""
	case w == "down":
		return "straight down, away from the part"
	case w == "up":
		return "straight up"
	default:
		words := "out " + heading(math.Atan2(v.Y, v.X)*180/math.Pi)
		if v.Z > 1e-6 {
			words += ", a little upwards"
		} else if v.Z < -1e-6 {
			words += ", a little downwards"
		}
		return words
	}
}

// words tell one step in a sentence without its stop.
func (b breakRow) words() string {
	if b.free {
		return fmt.Sprintf("support %d, step %d: %s", b.No, b.Step, b.Take)
	}
	return fmt.Sprintf("support %d, step %d: %s, then %s", b.No, b.Step, b.Snap, b.Take)
}

// inPieces lists the supports of those rows, "support 2" or "supports 2, 3 and 5".
func inPieces(rows []breakRow) string {
	var no []string
	for i, b := range rows {
		if i == 0 || rows[i-1].No != b.No {
			no = append(no, fmt.Sprint(b.No))
		}
	}
	switch len(no) {
	case 0:
		return ""
	case 1:
		return "support " + no[0]
	}
	return "supports " + strings.Join(no[:len(no)-1], ", ") + " and " + no[len(no)-1]
}
