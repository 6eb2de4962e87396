package mesh_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"math"
	"strings"
	"testing"

	"falsework/mesh"
)

// ours reports whether err is one of this package's errors for files.
func ours(err error) bool {
	var format *mesh.FormatError
	var unsupported *mesh.UnsupportedError
	var size *mesh.SizeError
	return errors.As(err, &format) || errors.As(err, &unsupported) || errors.As(err, &size)
}

// usable asserts what every reader promises of a mesh.
func usable(t *testing.T, m *mesh.Mesh) {
	t.Helper()
	if err := m.Check(); err != nil {
		t.Fatal(err)
	}
	if len(m.Triangles) == 0 {
		t.Fatal("no triangles")
	}
	n := 0
	for _, s := range m.Shells() {
		n += len(s.Triangles)
	}
	if n != len(m.Triangles) || math.IsNaN(m.Volume()) {
		t.Fatalf("%d of %d triangles in shells, volume %g", n, len(m.Triangles), m.Volume())
	}
}

// Run the fuzzers with -fuzzminimizetime=20x: by default each new input is
// shortened for up to a minute, in which nothing is tried.

func FuzzDecodeSTL(f *testing.F) {
	nan := loose(cube)
	nan[3][1][2] = float32(math.NaN())
	text := ascii(cube)
	for _, seed := range [][]byte{
		nil, encode(f, cube, "cube"), encode(f, cube, "cube")[:300], append([]byte("solid"), encode(f, cube, "")[5:]...),
		binarySTL("", nan), []byte(text), []byte(strings.ToUpper(text)), []byte("\xEF\xBB\xBF" + text + text),
		[]byte(text[:len(text)/2]), []byte("solid\nendsolid"), []byte(strings.Replace(text, "vertex 5", "vertex 1e39", 1)),
	} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		m, notes, err := mesh.DecodeSTL("fuzz.stl", data)
		if err != nil {
			if !ours(err) || strings.Contains(err.Error(), "\n") {
				t.Fatalf("%T %q", err, err)
			}
			return
		}
		usable(t, m)
		if !(m.Volume() > 0) {
			t.Fatalf("volume %g", m.Volume())
		}
		if len(m.Triangles) != notes.Facets-notes.Dropped {
			t.Fatalf("%d triangles, %+v", len(m.Triangles), notes)
		}
		// What is written is read back the same.
		back, _, err := mesh.DecodeSTL("back.stl", encode(t, m, "back"))
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(encode(t, m, ""), encode(t, back, "")) {
			t.Fatal("round trip changes the mesh")
		}
	})
}

func FuzzDecode3MF(f *testing.F) {
	one := object(1, tetra)
	item := `<item objectid="1"/>`
	for _, seed := range []string{
		model3MF(``, one, item),
		model3MF(`unit="inch"`, one+object(2, `<components><component objectid="1" transform="1 0 0 0 1 0 0 0 1 5 0 0"/></components>`), `<item objectid="2"/>`+item),
		model3MF(``, object(1, strings.Replace(tetra, "6", "NaN", 1)), item),
		model3MF(``, object(1, strings.Replace(tetra, `v3="1"`, `v3="9"`, 1)), item),
		model3MF(``, object(1, `<components><component objectid="1"/></components>`), item),
		model3MF(`requiredextensions="x"`, one, item),
		model3MF(``, one, item)[:400],
		`</model></model>`,
		inUTF16(binary.LittleEndian, "\uFEFF"+model3MF(``, one, item)),
		inUTF16(binary.BigEndian, model3MF(``, one, item))[:501],
	} {
		f.Add(pack(seed), seed)
	}
	f.Add(encode3MF(f, baked(f)), "")
	f.Fuzz(func(t *testing.T, data []byte, model string) {
		// The fuzzer seldom gets through a ZIP archive's checksums, so it is
		// given the model's text as well.
		for _, data := range [][]byte{data, pack(model)} {
			doc, err := mesh.Decode3MF("fuzz.3mf", data)
			if err != nil {
				if !ours(err) || strings.Contains(err.Error(), "\n") {
					t.Fatalf("%T %q", err, err)
				}
				continue
			}
			for _, b := range doc.Bodies {
				if err := b.Mesh.Check(); err != nil {
					t.Fatal(err)
				}
			}
			usable(t, doc.Bodies[0].Mesh)
		}
	})
}

func FuzzDecodeOBJ(f *testing.F) {
	for _, seed := range []string{
		objCube, obj(cube), strings.ToUpper(objCube), objCube[:200], "v 0 0 0\nf 1 1 1", "f -1 -1 -1", "v 1e39 nan 0x1", "v 0 0\\\n 0", objCube + "curv 0 1 1 2\nl 1 2",
	} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		m, notes, err := mesh.DecodeOBJ("fuzz.obj", data)
		if err != nil {
			if !ours(err) || strings.Contains(err.Error(), "\n") {
				t.Fatalf("%T %q", err, err)
			}
			return
		}
		usable(t, m)
		if !(m.Volume() > 0) || len(m.Triangles) != notes.Facets-notes.Dropped {
			t.Fatalf("volume %g, %d triangles, %+v", m.Volume(), len(m.Triangles), notes)
		}
	})
}
