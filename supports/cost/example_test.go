package cost_test

import (
	"fmt"

	"falsework/mesh"
	"falsework/mesh/meshtest"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/cost"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// A table top 40 mm wide reaches out 20 mm at a height of 15 mm. Three one-line
// walls under it, 7 mm apart, against the dense baseline.
func Example() {
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		fmt.Println(err)
		return
	}
	part := meshtest.Box(r3.Vec{}, r3.Vec{X: 40, Y: 5, Z: 18})
	part.Append(meshtest.Box(r3.Vec{Y: 5, Z: 15}, r3.Vec{X: 40, Y: 25, Z: 18}))
	walls := &mesh.Mesh{}
	for _, y := range []float64{10.5, 17.5, 24.5} {
		wall, err := mesh.Wall([]mesh.Station{
			{P: r2.Vec{X: 0, Y: y}, Low: 0, High: 14.8},
			{P: r2.Vec{X: 40, Y: y}, Low: 0, High: 14.8},
		}, s.Wall)
		if err != nil {
			fmt.Println(err)
			return
		}
		walls.Append(wall)
	}
	grid := raster.GridFor(part.Bounds(), s.Cell, 1)
	c := cost.Compare(
		raster.Section(walls, grid, s.Layers(), 0),
		raster.Section(part, grid, s.Layers(), 0),
		s, cost.Machine{}, 0)
	fmt.Printf("walls    %3.0f s, %.1f g\n", c.Supports.TimeS, c.Supports.MassG)
	fmt.Printf("baseline %3.0f s, %.1f g\n", c.Baseline.TimeS, c.Baseline.MassG)
	fmt.Printf("time ratio %.2f, plastic ratio %.2f\n", c.TimeRatio, c.PlasticRatio)
	// Output:
	// walls    248 s, 1.0 g
	// baseline 664 s, 3.0 g
	// time ratio 0.37, plastic ratio 0.32
}
