package remedy_test

import (
	"fmt"

	"falsework/supports"
	"falsework/supports/remedy"
)

// A rain gauge's mast bore, 25 mm wide and lying, in a bar 50 mm across.
func Example() {
	s, _ := supports.Settings{}.Resolve()
	part := tube{radius: 12.5, sides: 96, rings: 1, length: 22}.mesh()
	for _, b := range remedy.Bores(part) {
		crown := b.Crown(s.Limit)
		fmt.Println(crown)
		fmt.Println("prints as it is:", crown.Closes(s))
		drop, ok := b.Teardrop(s, b.Roof(part, s.Line))
		fmt.Println(drop, ok)
		fmt.Printf("adds %.1f mm² of section; cut away %.0f mm³\n", drop.ExtraArea(), b.Cutter(drop).Volume())
	}
	// Output:
	// crown beyond 45°: 17.68 mm wide, the top 90° of the bore, 3.66 mm high
	// prints as it is: false
	// teardrop: apex 17.68 mm above the axis, tangent at ±8.84 mm, 8.84 mm up true
	// adds 33.5 mm² of section; cut away 2064 mm³
}
