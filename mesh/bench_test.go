package mesh_test

import (
	"bytes"
	"fmt"
	"io"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"
)

// eachBlob runs a benchmark on the blob in two sizes. The rate is in bytes of
// the binary STL file, whatever the stage, so that stages compare.
func eachBlob(b *testing.B, run func(b *testing.B, m *mesh.Mesh)) {
	for _, n := range []int{100_000, 1_000_000} {
		m := meshtest.Blob(n)
		b.Run(fmt.Sprintf("blob/%dk", n/1000), func(b *testing.B) {
			b.ReportAllocs()
			b.SetBytes(int64(84 + 50*len(m.Triangles)))
			run(b, m)
		})
	}
}

func BenchmarkDecodeSTLBinary(b *testing.B) {
	eachBlob(b, func(b *testing.B, m *mesh.Mesh) {
		data := encode(b, m, "blob")
		for b.Loop() {
			if _, _, err := mesh.DecodeSTL("", data); err != nil {
				b.Fatal(err)
			}
		}
	})
}

func BenchmarkDecodeSTLASCII(b *testing.B) {
	eachBlob(b, func(b *testing.B, m *mesh.Mesh) {
		data := []byte(ascii(m))
		for b.Loop() {
			if _, _, err := mesh.DecodeSTL("", data); err != nil {
				b.Fatal(err)
			}
		}
	})
}

func BenchmarkWeld(b *testing.B) {
	eachBlob(b, func(b *testing.B, m *mesh.Mesh) {
		corners := loose(m)
		for b.Loop() {
			if got := mesh.WeldForTest(corners); len(got.Vertices) != len(m.Vertices) {
				b.Fatal(len(got.Vertices))
			}
		}
	})
}

func BenchmarkTopology(b *testing.B) {
	eachBlob(b, func(b *testing.B, m *mesh.Mesh) {
		for b.Loop() {
			if !m.Topology().Watertight() {
				b.Fatal("leaks")
			}
		}
	})
}

func BenchmarkShells(b *testing.B) {
	eachBlob(b, func(b *testing.B, m *mesh.Mesh) {
		for b.Loop() {
			if len(m.Shells()) != 1 {
				b.Fatal("not one shell")
			}
		}
	})
}

func BenchmarkEncodeSTL(b *testing.B) {
	eachBlob(b, func(b *testing.B, m *mesh.Mesh) {
		for b.Loop() {
			if err := mesh.EncodeSTL(io.Discard, m, "blob"); err != nil {
				b.Fatal(err)
			}
		}
	})
}

func BenchmarkEncode3MF(b *testing.B) {
	eachBlob(b, func(b *testing.B, m *mesh.Mesh) {
		for b.Loop() {
			if err := mesh.Encode3MF(io.Discard, mesh.Package{Part: mesh.Body{Mesh: m}}); err != nil {
				b.Fatal(err)
			}
		}
	})
}

func BenchmarkDecode3MF(b *testing.B) {
	eachBlob(b, func(b *testing.B, m *mesh.Mesh) {
		var data bytes.Buffer
		if err := mesh.Encode3MF(&data, mesh.Package{Part: mesh.Body{Mesh: m}}); err != nil {
			b.Fatal(err)
		}
		for b.Loop() {
			if _, err := mesh.Decode3MF("", data.Bytes()); err != nil {
				b.Fatal(err)
			}
		}
	})
}

func BenchmarkDecodeOBJ(b *testing.B) {
	eachBlob(b, func(b *testing.B, m *mesh.Mesh) {
		data := []byte(obj(m))
		for b.Loop() {
			if _, _, err := mesh.DecodeOBJ("", data); err != nil {
				b.Fatal(err)
			}
		}
	})
}
