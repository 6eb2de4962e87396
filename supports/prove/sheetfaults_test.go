package prove_test

import (
	"math"
	"strings"
	"testing"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports/grow"
	"falsework/supports/layout"
	"falsework/supports/need"
	"falsework/supports/prove"
)

// closes tells whether a structure is a sheet or steps, by the ids that layouts give.
func closes(id string) bool { return strings.HasPrefix(id, "S") || strings.HasPrefix(id, "B") }

// Faults in sheets and steps that matter are caught too, and none that does not is
// called a failure. The slow judge takes a sheet for a support that was in the part
// from the first, so it counts only what a fault makes worse.
func TestFaultsInSheets(t *testing.T) {
	if testing.Short() {
		t.Skip("the judge is slow")
	}
	one := inject(t, "nut-pocket-plate", 3)
	t.Log(one)
	for _, line := range one.missed {
		t.Log(line)
	}
	if one.matters == 0 || one.caught < one.matters || one.falsely > 0 {
		t.Errorf("%s", one)
	}
}

// Cells of half the size see the same sheets and steps, and say the same of them.
func TestSheetsInHalfTheCell(t *testing.T) {
	m, s := readPart(t, "nut-pocket-plate")
	layers := raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)
	solids, err := grow.Grow(layout.Layout("nut-pocket-plate", m, layers, need.Find(m, layers, s, 0), s, 0), m, layers)
	if err != nil {
		t.Fatal(err)
	}
	sup := &mesh.Mesh{}
	for _, q := range solids {
		sup.Append(q.Mesh)
	}
	sup.Round32()
	for range 2 {
		r := proof(t, m, s, sup)
		if r.Verdict != prove.Holds || len(r.Sheets) != 3 || len(r.Bodies) != 0 || math.Abs(r.PiercedMM2-15.2) > 0.2 { // Ø4.4
			t.Errorf("cells of %g mm: %s, %d sheets, %d bodies, %g mm² to pierce: %v", s.Cell, r.Verdict, len(r.Sheets), len(r.Bodies), r.PiercedMM2, r.Reasons)
		}
		s.Cell /= 2
	}
}
