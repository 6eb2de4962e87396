package mesh_test

import (
	"bytes"
	"fmt"

	"falsework/mesh"

	"gonum.org/v1/gonum/spatial/r2"
)

// A wall bracket's arm, 56 × 40 mm with its ceiling at 30 mm, gets a hollow
// post with a flared foot under it, and both are written as one 3MF package.
func Example() {
	arm := mesh.Prism([]r2.Vec{{}, {X: 56}, {X: 56, Y: 40}, {Y: 40}}, 30, 36)

	square := func(side float64) []r2.Vec {
		h := side / 2
		return []r2.Vec{{X: 28 - h, Y: 20 - h}, {X: 28 + h, Y: 20 - h}, {X: 28 + h, Y: 20 + h}, {X: 28 - h, Y: 20 + h}}
	}
	post, err := mesh.Loft(
		[][]r2.Vec{square(9), square(9), square(5), square(5)},
		[][]r2.Vec{square(4.2), square(4.2), square(4.2), square(4.2)},
		[]float64{0, 0.6, 2.6, 29.8})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("post: %.1f mm³, watertight: %t\n", post.Volume(), post.Topology().Watertight())

	var file bytes.Buffer
	err = mesh.Encode3MF(&file, mesh.Package{
		Title:    "Bracket arm",
		Part:     mesh.Body{Name: "arm", Mesh: arm},
		Supports: []mesh.Body{{Name: "post", Mesh: post}},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	back, err := mesh.Decode3MF("arm.3mf", file.Bytes())
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, b := range back.Bodies {
		fmt.Printf("%s: %d triangles, %.1f mm high\n", b.Name, len(b.Mesh.Triangles), b.Mesh.Bounds().Max.Z)
	}
	// Output:
	// post: 303.6 mm³, watertight: true
	// arm: 12 triangles, 36.0 mm high
	// post: 64 triangles, 29.8 mm high
}
