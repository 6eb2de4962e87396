package coupon_test

import (
	"fmt"

	"falsework/supports"
	"falsework/supports/coupon"
)

func Example() {
	c, err := coupon.New(supports.Settings{})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, g := range c.Groups {
		fmt.Printf("%-8s %d items, %g to %g\n", g.Kind, len(g.Items), g.Items[0].Value, g.Items[len(g.Items)-1].Value)
	}
	// Output:
	// ramps    9 items, 30 to 70
	// bridges  9 items, 5 to 40
	// walls    9 items, 0.32 to 0.8
	// ledges   9 items, 0.2 to 3.2
	// voids    3 items, 1 to 3
	// feet     3 items, 20 to 20
}
