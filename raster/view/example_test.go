package view_test

import (
	"fmt"

	"gonum.org/v1/gonum/spatial/r2"

	"falsework/mesh"
	"falsework/raster/view"
)

// A shelf on a leg, its free side held by one post.
func ExampleRender() {
	rect := func(x0, y0, x1, y1 float64) []r2.Vec {
		return []r2.Vec{{X: x0, Y: y0}, {X: x1, Y: y0}, {X: x1, Y: y1}, {X: x0, Y: y1}}
	}
	part := mesh.Prism(rect(0, 0, 6, 20), 0, 16)
	part.Append(mesh.Prism(rect(0, 0, 30, 20), 16, 20))
	post := mesh.Prism(rect(26, 2, 30, 18), 0, 15.8)
	pad := view.Tiles([]view.Tile{{Min: r2.Vec{X: 26, Y: 2}, Max: r2.Vec{X: 30, Y: 18}, Z: 15.8}})

	scene := view.Scene{
		Title:       "Shelf",
		LayerHeight: 0.2,
		Verdict:     "holds",
		Items: []view.Item{
			{Mesh: part, Role: view.Part, Name: "shelf"},
			{Mesh: post, Role: view.Support, Name: "post"},
			{Mesh: pad, Role: view.Pad, Name: "pad"},
		},
	}
	camera := view.Facing(scene, view.FromBelow())
	img, err := view.Render(scene, view.Options{Width: 800, Height: 600, Camera: camera})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(img.Bounds().Size())
	// Output: (800,600)
}
