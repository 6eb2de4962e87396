package mesh

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

const (
	// maxOBJ bounds an OBJ file in bytes, about ten million triangles of text.
	maxOBJ = 1 << 30
	// maxCorners bounds the corners of one face, and maxClipping the sum over all
	// faces of their cubes, to which clipping ears may take time.
	maxCorners, maxClipping = 2_000, 1e11
)

// readOBJ reads an OBJ file whose numbers count so many mm.
func readOBJ(path string, scale float64) (*Mesh, Notes, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, Notes{}, err
	}
	if !info.Mode().IsRegular() {
		return nil, Notes{}, &FormatError{File: path, Problem: "not a regular file", Remedy: "name an OBJ file"}
	}
	if info.Size() > maxOBJ {
		return nil, Notes{}, &UnsupportedError{File: path, Problem: fmt.Sprintf("%d bytes, over the limit of %d", info.Size(), maxOBJ), Remedy: "export it coarser"}
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, Notes{}, err
	}
	return decodeOBJ(path, data, scale)
}

// DecodeOBJ reads the polygons of a Wavefront OBJ file's bytes as millimetres; name
// goes into error messages only. Of each corner only the vertex counts; negative
// numbers count back from the last one. Faces of more than three corners are cut
// into triangles. Textures, normals, materials and groups are passed over; curves
// and surfaces are told in Notes.Skipped. Corners with equal coordinates become one
// vertex, all objects one mesh, and a surface that encloses a negative volume is
// turned round.
//
// Errors are those of DecodeSTL.
func DecodeOBJ(name string, data []byte) (*Mesh, Notes, error) { return decodeOBJ(name, data, 1) }

func decodeOBJ(name string, data []byte, scale float64) (*Mesh, Notes, error) {
	r := objReader{file: name, notes: Notes{Format: "OBJ"}}
	if len(data) == 0 {
		return nil, r.notes, &FormatError{File: name, Problem: "the file is empty", Remedy: "export the part as OBJ"}
	}
	if kind := foreign(data); kind != "text" || bytes.IndexByte(data[:min(len(data), 512)], 0) >= 0 {
		if kind == "" || kind == "text" {
			kind = "no text"
		}
		return nil, r.notes, &UnsupportedError{File: name, Problem: "this is " + kind + ", not OBJ", Remedy: "export the part as OBJ"}
	}
	if err := r.read(trimText(data)); err != nil {
		return nil, r.notes, err
	}
	m := r.mesh()
	m.scale(scale)
	if err := checkSolid(name, m, &r.notes); err != nil {
		return nil, r.notes, err
	}
	return m, r.notes, nil
}

type objReader struct {
	file      string
	notes     Notes
	line      int
	vertices  []point32
	triangles [][3]uint32
	fields    [][]byte
	corners   []uint32
	clipping  float64
	skipped   map[string]int // statements that hold no polygon
}

func (r *objReader) malformed(format string, args ...any) error {
	return &FormatError{File: r.file, Where: fmt.Sprintf("line %d", r.line), Problem: fmt.Sprintf(format, args...), Remedy: "export it again"}
}

// shapes are statements that draw something other than polygons.
var shapes = map[string]string{
	"p": "points", "l": "lines", "curv": "curves", "curv2": "curves", "surf": "free-form surfaces",
}

// read goes through the lines. A backslash at its end joins a line to the next.
func (r *objReader) read(data []byte) error {
	known := false
	var joined []byte
	for len(data) > 0 {
		r.line++
		line := data
		if i := bytes.IndexByte(data, '\n'); i >= 0 {
			line, data = data[:i], data[i+1:]
		} else {
			data = nil
		}
		line = bytes.TrimRight(line, "\r")
		if len(joined) > 0 || bytes.HasSuffix(line, []byte("\\")) {
			on := bytes.HasSuffix(line, []byte("\\"))
			if joined = append(joined, bytes.TrimSuffix(line, []byte("\\"))...); len(joined) > maxTag {
				return r.malformed("a statement longer than %d bytes", maxTag)
			}
			if joined = append(joined, ' '); on && len(data) > 0 {
				continue
			}
			line = joined
			joined = nil
		}
		if i := bytes.IndexByte(line, '#'); i >= 0 {
			line = line[:i]
		}
		r.split(line)
		if len(r.fields) == 0 {
			continue
		}
		switch word := string(r.fields[0]); word {
		case "v":
			known = true
			if err := r.vertex(); err != nil {
				return err
			}
		case "f", "fo":
			known = true
			if err := r.face(); err != nil {
				return err
			}
		case "o":
			if len(r.notes.Names) < maxSolidNames {
				r.notes.Names = append(r.notes.Names, string(bytes.ToValidUTF8(bytes.Join(r.fields[1:], []byte(" ")), []byte("?"))))
			}
		case "vn", "vt", "vp", "g", "s", "usemtl", "mtllib":
			known = true
		default:
			if what := shapes[word]; what != "" {
				known = true
				if r.skipped == nil {
					r.skipped = map[string]int{}
				}
				r.skipped[what]++
			}
		}
	}
	if !known {
		return &FormatError{File: r.file, Problem: "not OBJ: it holds no vertices", Remedy: "export the part as OBJ"}
	}
	for what := range r.skipped {
		r.notes.Skipped = append(r.notes.Skipped, what)
	}
	slices.Sort(r.notes.Skipped)
	return nil
}

// maxSolidNames bounds the names that are kept.
const maxSolidNames = 1000

// split takes a line apart at white space, of which there may be more than needed.
func (r *objReader) split(line []byte) {
	r.fields = r.fields[:0]
	for i := 0; i < len(line); {
		for i < len(line) && isSpace(line[i]) {
			i++
		}
		from := i
		for i < len(line) && !isSpace(line[i]) {
			i++
		}
		if i > from {
			r.fields = append(r.fields, line[from:i])
		}
	}
}

// vertex reads x y z; a weight or a colour that follows is passed over.
func (r *objReader) vertex() error {
	if len(r.fields) < 4 {
		return r.malformed("a vertex of %d coordinates", len(r.fields)-1)
	}
	var p point32
	for i := range p {
		f, ok := parseNumber(r.fields[i+1])
		p[i] = float32(f)
		if ok && p[i]-p[i] == 0 {
			continue
		}
		if v, err := strconv.ParseFloat(string(r.fields[i+1]), 32); err == nil && v-v != 0 || math.IsInf(v, 0) {
			return r.malformed("the coordinate %.40q is not finite", r.fields[i+1])
		}
		return r.malformed("the coordinate %.40q is no number", r.fields[i+1])
	}
	if len(r.vertices) == maxPlaced {
		return &UnsupportedError{File: r.file, Problem: fmt.Sprintf("more than %d vertices", maxPlaced), Remedy: "export it coarser"}
	}
	r.vertices = append(r.vertices, p)
	return nil
}

// face reads a polygon.
func (r *objReader) face() error {
	n := len(r.fields) - 1
	if n < 3 || n > maxCorners {
		return r.malformed("a face of %d corners", n)
	}
	r.corners = r.corners[:0]
	for _, f := range r.fields[1:] {
		v, err := r.corner(f)
		if err != nil {
			return err
		}
		r.corners = append(r.corners, v)
	}
	if len(r.triangles)+n-2 > maxPlaced {
		return &UnsupportedError{File: r.file, Problem: fmt.Sprintf("more than %d triangles", maxPlaced), Remedy: "export it coarser"}
	}
	if n == 3 {
		r.triangles = append(r.triangles, [3]uint32(r.corners))
		return nil
	}
	if r.clipping += float64(n) * float64(n) * float64(n); r.clipping > maxClipping {
		return &UnsupportedError{File: r.file, Where: fmt.Sprintf("line %d", r.line), Problem: "the faces have too many corners", Remedy: "export it as triangles"}
	}
	for _, t := range triangulate(r.flat()) {
		r.triangles = append(r.triangles, [3]uint32{r.corners[t[0]], r.corners[t[1]], r.corners[t[2]]})
	}
	return nil
}

// corner reads one such as 7, 7/2, 7//3 or -1/-1/-1.
func (r *objReader) corner(f []byte) (uint32, error) {
	text, _, _ := bytes.Cut(f, []byte("/"))
	back := bytes.HasPrefix(text, []byte("-"))
	n, ok := parseIndex(bytes.TrimPrefix(text, []byte("-")))
	switch have := uint32(len(r.vertices)); {
	case !ok || n == 0:
		return 0, r.malformed("the corner %.40q names no vertex", f)
	case n > have:
		return 0, r.malformed("the corner %.40q names vertex %d, but only %d are known there", f, n, have)
	case back:
		return have - n, nil
	}
	return n - 1, nil
}

// flat returns the corners of a face seen from outside: on the plane of the two axes
// other than that which the face looks along most (Newell's normal, Sutherland,
// Sproull, Schumacker 1974, ACM Computing Surveys 6(1)).
func (r *objReader) flat() []r2.Vec {
	at := make([]r3.Vec, len(r.corners))
	for i, v := range r.corners {
		p := r.vertices[v]
		at[i] = r3.Vec{X: float64(p[0]), Y: float64(p[1]), Z: float64(p[2])}
	}
	var n r3.Vec
	for i, p := range at {
		q := at[(i+1)%len(at)]
		n.X += (p.Y - q.Y) * (p.Z + q.Z)
		n.Y += (p.Z - q.Z) * (p.X + q.X)
		n.Z += (p.X - q.X) * (p.Y + q.Y)
	}
	out := make([]r2.Vec, len(at))
	for i, p := range at {
		switch x, y, z := math.Abs(n.X), math.Abs(n.Y), math.Abs(n.Z); {
		case z >= x && z >= y:
			out[i] = r2.Vec{X: p.X, Y: p.Y}
			if n.Z < 0 {
				out[i].X = -p.X
			}
		case y >= x:
			out[i] = r2.Vec{X: p.Z, Y: p.X}
			if n.Y < 0 {
				out[i].X = -p.Z
			}
		default:
			out[i] = r2.Vec{X: p.Y, Y: p.Z}
			if n.X < 0 {
				out[i].X = -p.Y
			}
		}
	}
	return out
}

// mesh welds the triangles.
func (r *objReader) mesh() *Mesh {
	w := newWelder(len(r.triangles))
	for _, t := range r.triangles {
		w.add(r.vertices[t[0]], r.vertices[t[1]], r.vertices[t[2]])
	}
	r.notes.Facets, r.notes.Dropped = len(r.triangles), w.dropped
	return w.finish()
}
