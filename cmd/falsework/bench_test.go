package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"

	"gonum.org/v1/gonum/spatial/r3"
)

// BenchmarkBake runs the whole program without pictures.
func BenchmarkBake(b *testing.B) {
	for _, c := range []struct {
		name string
		path func(b *testing.B) string
	}{
		{"kit/wall-bracket", func(*testing.B) string { return partFile("wall-bracket") }},
		{"blob/100k", func(b *testing.B) string {
			m := meshtest.Blob(100_000)
			m.Translate(r3.Vec{Z: -m.Bounds().Min.Z})
			path := filepath.Join(b.TempDir(), "blob.stl")
			w, err := os.Create(path)
			if err != nil {
				b.Fatal(err)
			}
			if err := mesh.EncodeSTL(w, m, "blob"); err != nil {
				b.Fatal(err)
			}
			if err := w.Close(); err != nil {
				b.Fatal(err)
			}
			return path
		}},
	} {
		b.Run(c.name, func(b *testing.B) {
			path := c.path(b)
			info, err := os.Stat(path)
			if err != nil {
				b.Fatal(err)
			}
			dir := b.TempDir()
			b.SetBytes(info.Size())
			b.ReportAllocs()
			n := 0
			for b.Loop() {
				n++
				code, _, stderr := call("bake", path, "--out", filepath.Join(dir, fmt.Sprint(n)), "--no-pictures")
				if code == exitRefused {
					b.Fatal(stderr)
				}
			}
		})
	}
}

// BenchmarkCost prices a part, its supports and the dense baseline at its three
// spacings, files read included.
func BenchmarkCost(b *testing.B) {
	m := meshtest.Blob(100_000)
	m.Translate(r3.Vec{Z: -m.Bounds().Min.Z})
	path := filepath.Join(b.TempDir(), "blob.stl")
	var data bytes.Buffer
	if err := mesh.EncodeSTL(&data, m, "blob"); err != nil {
		b.Fatal(err)
	}
	if err := os.WriteFile(path, data.Bytes(), 0o666); err != nil {
		b.Fatal(err)
	}
	dir := filepath.Join(b.TempDir(), "out")
	if code, _, stderr := call("bake", path, "--out", dir, "--no-pictures"); code == exitRefused {
		b.Fatal(stderr)
	}
	out := outputsOf("blob")
	b.Run("blob/100k", func(b *testing.B) {
		b.SetBytes(int64(data.Len()))
		b.ReportAllocs()
		for b.Loop() {
			if code, _, stderr := call("cost", filepath.Join(dir, out.part), filepath.Join(dir, out.supports)); code != exitHolds {
				b.Fatal(stderr)
			}
		}
	})
}
