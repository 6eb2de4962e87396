package plan_test

import (
	"fmt"

	"falsework/supports/plan"
)

// A post moved by 5 mm in a text editor is the designer's from then on.
func Example() {
	const text = `falsework: 2
part: {name: drip-hook.stl, triangles: 148, size_mm: [44, 46, 56]}
lines:
  - id: L1
    at: [[10, 4, 30], [10, 22, 30]]
    by: tool
posts:
  - id: P1 # clear of the screw
    at: [15, 12]
    side: 5
    by: tool
drawn:
  lines:
    - {id: L1, at: [[10, 4, 30], [10, 22, 30]]}
  posts:
    - {id: P1, at: [10, 12], side: 5}
`
	p, err := plan.Decode("drip-hook.plan.yaml", []byte(text))
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, c := range plan.Diff(p, p.Reclaim()) {
		fmt.Println(c)
	}
	// Output: pinned post P1 (the designer's)
}
