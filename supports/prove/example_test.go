package prove_test

import (
	"fmt"

	"falsework/mesh"
	"falsework/supports"
	"falsework/supports/prove"
)

// A shelf 14 mm wide between two cheeks, and a wall under its middle that ends
// 0.2 mm, one empty layer, below it.
func ExampleProve() {
	shelf := join(box(0, 0, 0, 3, 30, 12), box(17, 0, 0, 20, 30, 12), box(0, 0, 10, 20, 30, 12))
	wall := box(9.76, 0, 0, 10.24, 30, 9.8)
	across := supports.Settings{Direction: supports.Direction{Stated: true}}

	bare, _ := prove.Prove(shelf, nil, across, prove.Options{})
	fmt.Println(bare.Verdict, bare.Reasons[0].Kind, "at z", bare.Reasons[0].LayerZ)
	held, _ := prove.Prove(shelf, []*mesh.Mesh{wall}, across, prove.Options{})
	fmt.Println(held.Verdict, held.Bodies[0].WaysOut)
	// Output:
	// fails part-unheld at z 10
	// holds [90° 270° down]
}
