package pose_test

import (
	"context"
	"fmt"

	"falsework/mesh/meshtest"
	"falsework/supports/pose"
)

// The plug of a rain gauge, drawn standing on its narrow end.
func Example() {
	m := meshtest.Cone(0, 3, 5, 10, 48)
	poses, err := pose.Find(m, pose.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	poses = poses[:2] // the given one and the best other by sums
	if err := pose.LayOut(context.Background(), m, poses, pose.Options{}, nil); err != nil {
		fmt.Println(err)
		return
	}
	pose.Rank(poses, pose.DefaultWeights)
	for _, p := range poses {
		fmt.Printf("%s, turned by %v: supports needed: %t\n", p.Kind, p.Turn, p.Laid.Supports.TimeS > 0)
	}
	// Output:
	// rest, turned by 0,180,0: supports needed: false
	// given, turned by 0,0,0: supports needed: true
}
