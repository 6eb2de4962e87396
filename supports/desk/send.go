package desk

import (
	"encoding/binary"
	"math"

	"falsework/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// mostSent bounds the triangles of a part that are sent as they are. Beyond it a coarser
// mesh goes out, of about sentTriangles.
const mostSent, sentTriangles = 300_000, 200_000

// Sent is a part as it is sent to a view.
type Sent struct {
	Mesh *mesh.Mesh
	// Became says of each triangle of the part which one of Mesh it is, −1 for none; nil
	// where all are as they were.
	Became []int
	Data   []byte // of the format that Encode describes
}

// Send makes of a part what is sent to views.
func Send(m *mesh.Mesh) Sent {
	if len(m.Triangles) <= mostSent {
		return Sent{Mesh: m, Data: encodePart(m)}
	}
	// A closed surface of area A in cells of edge c has about 1.5·A/c² vertices, for it
	// crosses so many cells at any slope, and twice as many triangles.
	cell := math.Sqrt(3 * m.Area() / sentTriangles)
	out, became := m.Cluster(cell)
	for len(out.Triangles) > mostSent {
		cell *= 1.3
		out, became = m.Cluster(cell)
	}
	return Sent{Mesh: out, Became: became, Data: encodePart(out)}
}

// encodePart writes "FWM1", the numbers of vertices and triangles, the corners of the bounds
// as float32, each vertex as three uint16 from one corner to the other, and each triangle
// as three uint32; all little endian.
func encodePart(m *mesh.Mesh) []byte {
	b := m.Bounds()
	size := r3.Sub(b.Max, b.Min)
	out := make([]byte, 0, 36+6*len(m.Vertices)+12*len(m.Triangles))
	out = append(out, "FWM1"...)
	out = binary.LittleEndian.AppendUint32(out, uint32(len(m.Vertices)))
	out = binary.LittleEndian.AppendUint32(out, uint32(len(m.Triangles)))
	for _, v := range [...]float64{b.Min.X, b.Min.Y, b.Min.Z, b.Max.X, b.Max.Y, b.Max.Z} {
		out = binary.LittleEndian.AppendUint32(out, math.Float32bits(float32(v)))
	}
	step := func(v, lo, size float64) uint16 {
		if size <= 0 {
			return 0
		}
		return uint16(math.Round(min(1, max(0, (v-lo)/size)) * math.MaxUint16))
	}
	for _, v := range m.Vertices {
		out = binary.LittleEndian.AppendUint16(out, step(v.X, b.Min.X, size.X))
		out = binary.LittleEndian.AppendUint16(out, step(v.Y, b.Min.Y, size.Y))
		out = binary.LittleEndian.AppendUint16(out, step(v.Z, b.Min.Z, size.Z))
	}
	return appendTriangles(out, m)
}

func appendTriangles(out []byte, m *mesh.Mesh) []byte {
	for _, t := range m.Triangles {
		for _, v := range t {
			out = binary.LittleEndian.AppendUint32(out, v)
		}
	}
	return out
}

// EncodeSupports writes "FWS1" and the number of structures; of each the length of its id
// and the id, its body, the numbers of vertices and triangles, the vertices as float32 and
// the triangles as uint32; all little endian. Solids of one structure that follow one another
// are one group.
func EncodeSupports(pieces []Piece) []byte {
	var groups []Piece
	for _, p := range pieces {
		if n := len(groups); n > 0 && groups[n-1].ID == p.ID {
			both := groups[n-1].Mesh.Clone()
			both.Append(p.Mesh)
			groups[n-1].Mesh = both
			groups[n-1].Body = max(groups[n-1].Body, p.Body)
			continue
		}
		groups = append(groups, p)
	}
	out := binary.LittleEndian.AppendUint32([]byte("FWS1"), uint32(len(groups)))
	for _, p := range groups {
		out = binary.LittleEndian.AppendUint32(out, uint32(len(p.ID)))
		out = append(out, p.ID...)
		out = binary.LittleEndian.AppendUint32(out, uint32(p.Body))
		out = binary.LittleEndian.AppendUint32(out, uint32(len(p.Mesh.Vertices)))
		out = binary.LittleEndian.AppendUint32(out, uint32(len(p.Mesh.Triangles)))
		for _, v := range p.Mesh.Vertices {
			for _, c := range [...]float64{v.X, v.Y, v.Z} {
				out = binary.LittleEndian.AppendUint32(out, math.Float32bits(float32(c)))
			}
		}
		out = appendTriangles(out, p.Mesh)
	}
	return out
}
