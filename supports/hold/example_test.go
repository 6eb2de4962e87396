package hold_test

import (
	"fmt"

	"falsework/raster"
	"falsework/supports"
	"falsework/supports/hold"
)

// A shelf of 10 × 10 mm at z = 5 mm that nothing holds but its wall.
func ExampleJudge() {
	s, _ := supports.Settings{}.Resolve()
	part := join(box(0, 0, 0, 2, 10, 8), box(0, 0, 5, 12, 10, 6))
	layers := raster.Section(part, raster.GridFor(part.Bounds(), s.Cell, 3), s.Layers(), 0)
	for _, l := range hold.Judge(hold.Input{Body: layers, Settings: s}) {
		fmt.Printf("z %.1f mm: %.0f mm² new, some unheld: %v\n", layers.Bottom(l.K), float64(l.New.Count())*layers.CellArea(), !l.Unheld.Empty())
	}
	// Output: z 5.0 mm: 100 mm² new, some unheld: true
}
