package pose_test

import (
	"context"
	"path/filepath"
	"testing"

	"falsework/mesh"
	"falsework/supports/pose"
)

// BenchmarkLayOut draws supports for the twenty best poses. The rate is in bytes of the
// part's binary STL file.
func BenchmarkLayOut(b *testing.B) {
	for _, name := range []string{"junction-dome", "gutter-hanger"} {
		m, _, err := mesh.ReadSTL(filepath.Join("..", "..", "testdata", "parts", name+".stl"))
		if err != nil {
			b.Fatal(err)
		}
		b.Run("kit/"+name, func(b *testing.B) {
			b.SetBytes(int64(84 + 50*len(m.Triangles)))
			b.ReportAllocs()
			for b.Loop() {
				poses, err := pose.Find(m, pose.Options{})
				if err != nil {
					b.Fatal(err)
				}
				if err := pose.LayOut(context.Background(), m, poses, pose.Options{}, nil); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
