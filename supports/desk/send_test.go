package desk_test

import (
	"encoding/binary"
	"math"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"
	"falsework/supports/desk"
	"falsework/supports/grow"

	"gonum.org/v1/gonum/spatial/r3"
)

// What is sent reads back as the part, within half a step of 65535 on each axis.
func TestSendReadsBack(t *testing.T) {
	m := meshtest.Blob(500)
	b := m.Bounds()
	size := r3.Sub(b.Max, b.Min)
	data := desk.Send(m).Data
	if string(data[:4]) != "FWM1" {
		t.Fatalf("begins with %q", data[:4])
	}
	word := func(at int) uint32 { return binary.LittleEndian.Uint32(data[at:]) }
	real := func(at int) float64 { return float64(math.Float32frombits(word(at))) }
	vertices, triangles := int(word(4)), int(word(8))
	if vertices != len(m.Vertices) || triangles != len(m.Triangles) || len(data) != 36+6*vertices+12*triangles {
		t.Fatalf("%d vertices, %d triangles, %d bytes", vertices, triangles, len(data))
	}
	for i, v := range m.Vertices {
		for n, want := range [...]float64{v.X, v.Y, v.Z} {
			lo, hi := real(12+4*n), real(24+4*n)
			step := (hi - lo) / math.MaxUint16
			got := lo + step*float64(binary.LittleEndian.Uint16(data[36+6*i+2*n:]))
			if math.Abs(got-want) > step/2+1e-5*(1+math.Abs(size.X)) {
				t.Fatalf("vertex %d: %g, want %g", i, got, want)
			}
		}
	}
	for i, c := range m.Triangles {
		for n, want := range c {
			if got := word(36 + 6*vertices + 12*i + 4*n); got != want {
				t.Fatalf("triangle %d: %d, want %d", i, got, want)
			}
		}
	}
}

// A large part goes out with no more than 300 000 triangles, and faces still find theirs.
func TestSendLarge(t *testing.T) {
	m := meshtest.Blob(400_000)
	s := desk.Send(m)
	if n := len(s.Mesh.Triangles); n > 300_000 || n < 50_000 || len(s.Became) != len(m.Triangles) {
		t.Errorf("%d triangles of %d are sent, %d told of", n, len(m.Triangles), len(s.Became))
	}
}

// Solids of one structure that follow one another are one group.
func TestEncodeSupportsGroups(t *testing.T) {
	box := func(x float64) *mesh.Mesh { return meshtest.Box(r3.Vec{X: x}, r3.Vec{X: x + 1, Y: 1, Z: 1}) }
	piece := func(id string, x float64, body int) desk.Piece {
		return desk.Piece{Solid: grow.Solid{ID: id, Mesh: box(x)}, Body: body}
	}
	data := desk.EncodeSupports([]desk.Piece{piece("L1", 0, 1), piece("L1", 2, 1), piece("Pé", 4, 2)})
	word := func() (v uint32) {
		v, data = binary.LittleEndian.Uint32(data), data[4:]
		return v
	}
	if string(data[:4]) != "FWS1" {
		t.Fatalf("begins with %q", data[:4])
	}
	data = data[4:]
	if n := word(); n != 2 {
		t.Fatalf("%d groups", n)
	}
	for _, want := range []struct {
		id              string
		body, triangles uint32
	}{{"L1", 1, 24}, {"Pé", 2, 12}} {
		n := word()
		id := string(data[:n])
		data = data[n:]
		body, vertices, triangles := word(), word(), word()
		if id != want.id || body != want.body || triangles != want.triangles {
			t.Errorf("%s of body %d with %d triangles, want %+v", id, body, triangles, want)
		}
		data = data[12*vertices+12*triangles:]
	}
	if len(data) != 0 {
		t.Errorf("%d bytes are left", len(data))
	}
}
