package desk

import (
	"strings"
	"testing"

	"falsework/mesh/meshtest"
	"falsework/supports"
	"falsework/supports/grow"
	"falsework/supports/prove"

	"gonum.org/v1/gonum/spatial/r3"
)

// Where a level face lies so that no support suits all declared heights, the remedy says
// so; where one would, or away from any face, it stays. Whether one does is tested by package
// grow.
func TestTellHeights(t *testing.T) {
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	s.Heights = []float64{0.16, 0.28}
	for _, c := range []struct {
		z    float64
		kind prove.Kind
		told bool
	}{
		{28, prove.PartUnheld, true}, {28, prove.WrongVoid, true}, {28, prove.Collision, false}, {24, prove.PartUnheld, false},
	} {
		m := meshtest.Box(r3.Vec{Z: c.z}, r3.Vec{X: 20, Y: 20, Z: c.z + 4})
		under := grow.NewUndersides(m)
		reasons := []prove.Reason{
			{Kind: c.kind, At: r3.Vec{X: 10, Y: 10, Z: c.z}, Remedy: "as it was"},
			{Kind: c.kind, At: r3.Vec{X: 10, Y: 10, Z: c.z - 3}, Remedy: "as it was"},
		}
		tellHeights(reasons, under, s)
		if told := strings.Contains(reasons[0].Remedy, "0.2, 0.16 and 0.28 mm alike"); told != c.told {
			t.Errorf("%s at %g: %q", c.kind, c.z, reasons[0].Remedy)
		}
		if !c.told && reasons[0].Remedy != "as it was" || reasons[1].Remedy != "as it was" {
			t.Errorf("%s at %g: %q, below it %q", c.kind, c.z, reasons[0].Remedy, reasons[1].Remedy)
		}
	}
}
