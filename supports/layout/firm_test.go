package layout_test

import (
	"path/filepath"
	"testing"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/grow"
	"falsework/supports/layout"
	"falsework/supports/need"
	"falsework/supports/prove"
)

// proved lays out a demo part and returns what the proof finds.
func proved(t *testing.T, name string) prove.Report {
	t.Helper()
	m, _, err := mesh.ReadSTL(filepath.Join("..", "..", "testdata", "parts", name+".stl"))
	if err != nil {
		t.Fatal(err)
	}
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	part := raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 3), s.Layers(), 0)
	p := layout.Layout(name, m, part, need.Find(m, part, s, 0), s, 0)
	solids, err := grow.Grow(p, m, part)
	if err != nil {
		t.Fatal(err)
	}
	var bodies []*mesh.Mesh
	for i := range solids {
		bodies = append(bodies, solids[i].Mesh)
	}
	r, err := prove.Prove(m, bodies, s, prove.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// Parts whose supports swayed when they were drawn for the least print time alone stand
// firmly: a wall down a slope that stands alone, a tall post, a foot that was too short, walls
// on one post that bent alone, and one sole in a bore, beside the centre of mass.
func TestDemoPartsAreMadeFirm(t *testing.T) {
	for _, name := range []string{"level-bob", "tall-arm", "cable-arch", "pipe-elbow", "mast-clamp"} {
		r := proved(t, name)
		if r.Verdict != prove.Holds || r.BlockedBodies > 0 {
			t.Errorf("%s: %s, %d bodies blocked", name, r.Verdict, r.BlockedBodies)
		}
		for _, b := range r.Bodies {
			// A quarter of a line, and what the plate is taken to hold.
			if b.SwayMM > 0.1 || b.FootMPa > 2 || b.TipMM > 0 {
				t.Errorf("%s: body %d sways %.3g mm, pulls with %.3g MPa and is %.3g mm out", name, b.ID, b.SwayMM, b.FootMPa, b.TipMM)
			}
		}
	}
}
