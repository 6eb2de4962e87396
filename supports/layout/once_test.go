package layout

import (
	"path/filepath"
	"testing"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/grow"
	"falsework/supports/need"
)

// Drawings that are only compared are mended without links: with and without them the same
// of the part is left bare.
func TestLinksHoldNoneOfThePart(t *testing.T) {
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	m, _, err := mesh.ReadSTL(filepath.Join("..", "..", "testdata", "parts", "shelf-over-shelf.stl"))
	if err != nil {
		t.Fatal(err)
	}
	part := raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 5), s.Layers(), 0)
	p := Once("shelf", m, part, need.Find(m, part, s, 0), s, 0)
	j := newJob(newSite(part, s), grow.NewUndersides(m), 0)
	with, err := grow.GrowUnder(p, j.under, part)
	if err != nil {
		t.Fatal(err)
	}
	without, err := grow.Unlinked(p, j.under, part)
	if err != nil {
		t.Fatal(err)
	}
	if len(without) == 0 || len(with) <= len(without) {
		t.Fatalf("%d solids with links, %d without: no links to judge", len(with), len(without))
	}
	a, b := j.open(j.layersOf(with, nil)), j.open(j.layersOf(without, nil))
	if len(a) != len(b) {
		t.Fatalf("%d layers judged with links, %d without", len(a), len(b))
	}
	for i := range a {
		if x, y := raster.AndNot(&a[i].Unheld, &b[i].Unheld), raster.AndNot(&b[i].Unheld, &a[i].Unheld); !x.Empty() || !y.Empty() {
			t.Errorf("layer %d: %d cells bare with links, %d without", a[i].K, a[i].Unheld.Count(), b[i].Unheld.Count())
		}
	}
}
