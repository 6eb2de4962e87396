package mesh

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"os"
	"strings"

	"github.com/hschendel/stl"
	"gonum.org/v1/gonum/spatial/r3"
)

const (
	// MinPart is the largest dimension, in mm, below which a part is taken for
	// one drawn in another unit: thinner than one printed line is long.
	// Common practice, no source.
	MinPart = 1.0
	// MaxPart is the largest dimension, in mm, that is taken for a printable
	// part. Common practice, no source: few printers of this kind pass 0.5 m.
	MaxPart = 1000.0
	// MaxCoordinate is how far from the origin a corner may lie, in mm: out
	// there neighbouring float32 values are already 1 µm apart.
	MaxCoordinate = 10000.0
	// MinFill is the share of its bounding box that a solid must fill; less is
	// float64 rounding in the volume of a surface that encloses nothing.
	MinFill = 1e-9
	// MaxTriangles bounds what the readers take on, at about 100 bytes each.
	MaxTriangles = 50_000_000
)

const (
	stlHeader   = 84 // 80 free bytes and the count
	stlTriangle = 50
)

// Notes tell what reading a file met that is no error.
type Notes struct {
	Format    string   // "binary STL", "ASCII STL", "3MF" or "OBJ"
	Names     []string // of the solids or objects, in file order, as written
	Facets    int      // triangles in the file
	Dropped   int      // triangles left out because two corners coincide
	InsideOut bool     // the whole surface faced inward and was turned round
	Skipped   []string // parts of the file that hold no solid to print
	Unit      string   // that the file states, where another was asked for
}

// Warnings puts the notes that a user should see into words, one line each.
func (n Notes) Warnings() []string {
	var w []string
	if n.Dropped > 0 {
		w = append(w, fmt.Sprintf("%d of %d triangles have no area and were left out", n.Dropped, n.Facets))
	}
	if n.InsideOut {
		w = append(w, "the surface faced inward and was turned round")
	}
	if n.Unit != "" {
		w = append(w, "the file says that its unit is the "+n.Unit+"; the one that was asked for counts")
	}
	for _, s := range n.Skipped {
		w = append(w, "left out: "+s)
	}
	return w
}

// ReadSTL reads a binary or ASCII STL file as millimetres; see DecodeSTL.
func ReadSTL(path string) (*Mesh, Notes, error) { return readSTL(path, 1) }

func readSTL(path string, scale float64) (*Mesh, Notes, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, Notes{}, err
	}
	if !info.Mode().IsRegular() {
		return nil, Notes{}, &FormatError{File: path, Problem: "not a regular file", Remedy: "name an STL file"}
	}
	// An ASCII facet takes some 250 bytes, five times as many as a binary one.
	if info.Size() > 5*stlTriangle*MaxTriangles {
		return nil, Notes{}, tooMany(path, info.Size()/stlTriangle)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, Notes{}, err
	}
	return decodeSTL(path, data, scale)
}

// DecodeSTL reads an STL file's bytes, binary or ASCII, as millimetres; name
// goes into error messages only. Corners with equal coordinates are welded into
// one vertex, triangles that name a corner twice are dropped, all solids of an
// ASCII file end up in one mesh, and a surface that encloses a negative volume
// is turned round. A mesh with holes or other defects is not an error here: ask
// Topology.
//
// Errors are *FormatError (malformed, or no solid in it), *UnsupportedError
// (another kind of file, or too large) and *SizeError (dimensions that suggest
// another unit).
func DecodeSTL(name string, data []byte) (*Mesh, Notes, error) { return decodeSTL(name, data, 1) }

func decodeSTL(name string, data []byte, scale float64) (*Mesh, Notes, error) {
	var m *Mesh
	var notes Notes
	var err error
	switch kind := sniffSTL(data); kind {
	case binarySTL:
		m, notes, err = decodeBinarySTL(name, data)
	case asciiSTL:
		m, notes, err = decodeASCIISTL(name, data)
	default:
		err = notSTL(name, data)
	}
	if err != nil {
		return nil, notes, err
	}
	m.scale(scale)
	if err := checkSolid(name, m, &notes); err != nil {
		return nil, notes, err
	}
	return m, notes, nil
}

// checkSolid refuses what cannot be a printable part and turns round what is
// inside out.
func checkSolid(name string, m *Mesh, notes *Notes) error {
	if len(m.Triangles) == 0 {
		problem := "holds no triangles"
		if notes.Dropped > 0 {
			problem = fmt.Sprintf("none of its %d triangles has an area", notes.Facets)
		}
		return &FormatError{File: name, Problem: problem, Remedy: "export the part again"}
	}
	b := m.Bounds()
	size := r3.Sub(b.Max, b.Min)
	long := max(size.X, size.Y, size.Z)
	dims := fmt.Sprintf("%.4g × %.4g × %.4g mm", size.X, size.Y, size.Z)
	switch far := max(-b.Min.X, -b.Min.Y, -b.Min.Z, b.Max.X, b.Max.Y, b.Max.Z); {
	case long < MinPart:
		return &SizeError{File: name, Size: size,
			Problem: "the part measures only " + dims,
			Remedy:  "if it was drawn in inches scale it by 25.4, if in metres by 1000, and export again"}
	case long > MaxPart:
		return &SizeError{File: name, Size: size,
			Problem: fmt.Sprintf("the part measures %s, over the limit of %g mm", dims, MaxPart),
			Remedy:  "if it was drawn in micrometres scale it by 0.001, else cut it into parts that fit a printer"}
	case far > MaxCoordinate:
		return &SizeError{File: name, Size: size,
			Problem: fmt.Sprintf("the part lies %.4g mm from the origin, where float32 coordinates are coarser than 1 µm", far),
			Remedy:  "move it to the origin before exporting"}
	}
	if size.X == 0 || size.Y == 0 || size.Z == 0 {
		return &FormatError{File: name, Problem: "the part is flat, " + dims, Remedy: "give it a thickness and export again"}
	}
	v := m.Volume()
	if math.Abs(v) <= MinFill*size.X*size.Y*size.Z {
		return &FormatError{File: name, Problem: "the surface encloses no volume",
			Remedy: "export a closed solid, not a surface"}
	}
	if v < 0 {
		m.turn()
		notes.InsideOut = true
	}
	return nil
}

type stlKind int

const (
	otherFile stlKind = iota
	binarySTL
	asciiSTL
)

// sniffSTL tells the kind of a file. The exact size decides first, because a
// binary header may begin with "solid" too.
func sniffSTL(data []byte) stlKind {
	if len(data) >= stlHeader && int64(len(data)) == binarySize(data) {
		return binarySTL
	}
	text := trimText(data)
	if hasKeyword(text, "solid") && !bytes.ContainsRune(data[:min(len(data), 512)], 0) {
		return asciiSTL
	}
	if foreign(data) == "" && len(data) >= stlHeader {
		return binarySTL // damaged, as decodeBinarySTL will say
	}
	return otherFile
}

// binarySize is how long a binary STL file of this header should be.
func binarySize(data []byte) int64 {
	return stlHeader + stlTriangle*int64(binary.LittleEndian.Uint32(data[80:84]))
}

// trimText drops a byte order mark and leading white space.
func trimText(data []byte) []byte {
	return bytes.TrimLeft(bytes.TrimPrefix(data, []byte("\xEF\xBB\xBF")), " \t\r\n")
}

// hasKeyword reports whether text begins with the lower-case word, in any case.
func hasKeyword(text []byte, word string) bool {
	return len(text) >= len(word) && strings.EqualFold(string(text[:len(word)]), word) &&
		(len(text) == len(word) || isSpace(text[len(word)]))
}

func isSpace(b byte) bool { return b == ' ' || '\t' <= b && b <= '\r' }

// foreign names the kind of file that its first bytes show, if they do.
func foreign(data []byte) string {
	for _, f := range []struct{ magic, name string }{
		{"PK\x03\x04", "a ZIP package, perhaps 3MF"},
		{"\x89PNG", "a PNG picture"},
		{"\xFF\xD8\xFF", "a JPEG picture"},
		{"%PDF", "a PDF document"},
		{"\x1F\x8B", "a gzip archive"},
		{"ISO-10303-21", "a STEP model"},
		{"glTF", "a glTF model"},
		{"ply\n", "a PLY mesh"},
		{"ply\r", "a PLY mesh"},
		{"<?xml", "an XML document"},
	} {
		if bytes.HasPrefix(data, []byte(f.magic)) {
			return f.name
		}
	}
	head := data[:min(len(data), 512)]
	for _, b := range head {
		if b < ' ' && !isSpace(b) {
			return ""
		}
	}
	return "text"
}

func notSTL(name string, data []byte) error {
	const remedy = "export the part as STL"
	if len(data) == 0 {
		return &FormatError{File: name, Problem: "the file is empty", Remedy: remedy}
	}
	if kind := foreign(data); kind != "" && kind != "text" {
		return &UnsupportedError{File: name, Problem: "this is " + kind + ", not STL", Remedy: remedy}
	}
	return &FormatError{File: name, Where: "byte 0",
		Problem: fmt.Sprintf(`not STL: it does not begin with "solid", and %d bytes are no binary STL file`, len(data)),
		Remedy:  remedy}
}

func tooMany(name string, n int64) error {
	return &UnsupportedError{File: name,
		Problem: fmt.Sprintf("%d triangles, over the limit of %d", n, MaxTriangles),
		Remedy:  "export it coarser"}
}

// collector is the stl.Writer that welds what the library reads.
type collector struct {
	*welder
	name  string
	count int // triangles seen
	bad   int // first one with a corner that is not finite, counted from 1
	badAt point32
}

func (c *collector) SetName(name string)     { c.name = name }
func (c *collector) SetBinaryHeader([]byte)  {}
func (c *collector) SetASCII(bool)           {}
func (c *collector) SetTriangleCount(uint32) {}

func (c *collector) AppendTriangle(t stl.Triangle) {
	c.count++
	for _, p := range t.Vertices {
		for _, x := range p {
			if x-x != 0 {
				if c.bad == 0 {
					c.bad, c.badAt = c.count, point32(p)
				}
				return
			}
		}
	}
	c.add(point32(t.Vertices[0]), point32(t.Vertices[1]), point32(t.Vertices[2]))
}

func (c *collector) notFinite(file, where string) error {
	return &FormatError{File: file, Where: where,
		Problem: fmt.Sprintf("a corner at (%g, %g, %g) is not finite", c.badAt[0], c.badAt[1], c.badAt[2]),
		Remedy:  "repair the part or export it again"}
}

func decodeBinarySTL(name string, data []byte) (*Mesh, Notes, error) {
	notes := Notes{Format: "binary STL"}
	want, have := binarySize(data), int64(len(data))
	n := (want - stlHeader) / stlTriangle
	switch {
	case have < want:
		return nil, notes, &FormatError{File: name, Where: fmt.Sprintf("byte %d", have),
			Problem: fmt.Sprintf("the file ends in triangle %d, but its header promises %d triangles, %d bytes; it is cut short, or no STL",
				(have-stlHeader)/stlTriangle+1, n, want),
			Remedy: "export or download it again"}
	case have > want:
		return nil, notes, &FormatError{File: name, Where: fmt.Sprintf("byte %d", want),
			Problem: fmt.Sprintf("%d bytes follow the %d triangles that the header promises; it is damaged, or no STL", have-want, n),
			Remedy:  "export or download it again"}
	case n > MaxTriangles:
		return nil, notes, tooMany(name, n)
	}
	c := &collector{welder: newWelder(int(n))}
	if err := stl.CopyAll(bytes.NewReader(data), c); err != nil {
		return nil, notes, &FormatError{File: name, Problem: "the file cannot be read: " + firstLine(err), Err: err}
	}
	notes.Facets, notes.Dropped = c.count, c.dropped
	if s := strings.TrimSpace(c.name); s != "" {
		notes.Names = []string{s}
	}
	if c.bad > 0 {
		at := stlHeader + stlTriangle*(c.bad-1)
		return nil, notes, c.notFinite(name, fmt.Sprintf("triangle %d at byte %d", c.bad, at))
	}
	return c.finish(), notes, nil
}

func firstLine(err error) string {
	s, _, _ := strings.Cut(strings.TrimSpace(err.Error()), "\n")
	return s
}

// EncodeSTL writes m as binary STL with computed normals, coordinates rounded
// to float32, through the header name (its printable ASCII part, at most 80
// bytes). The same mesh gives the same bytes. It returns an error when m fails
// Check, when a coordinate overflows float32, or when w does.
func EncodeSTL(w io.Writer, m *Mesh, name string) error {
	if err := m.Check(); err != nil {
		return fmt.Errorf("writing STL: %w", err)
	}
	if int64(len(m.Triangles)) > math.MaxUint32 {
		return &UnsupportedError{Problem: fmt.Sprintf("%d triangles do not fit an STL file", len(m.Triangles))}
	}
	solid := stl.Solid{
		BinaryHeader: stlHeaderText(name),
		Triangles:    make([]stl.Triangle, len(m.Triangles)),
	}
	for i, t := range m.Triangles {
		s := &solid.Triangles[i]
		for k, v := range t {
			p := toPoint32(m.Vertices[v])
			for j, x := range p {
				if x-x != 0 {
					return fmt.Errorf("writing STL: vertex %d is too far out for float32", v)
				}
				if x == 0 {
					p[j] = 0
				}
			}
			s.Vertices[k] = stl.Vec3(p)
		}
		if n := m.AreaNormal(i); n != (r3.Vec{}) {
			p := toPoint32(r3.Scale(1/math.Sqrt(r3.Norm2(n)), n))
			for j, x := range p {
				if x == 0 || x-x != 0 {
					p[j] = 0
				}
			}
			s.Normal = stl.Vec3(p)
		}
	}
	b := bufio.NewWriterSize(w, 1<<16)
	if err := solid.WriteAll(b); err != nil {
		return fmt.Errorf("writing STL: %w", err)
	}
	if err := b.Flush(); err != nil {
		return fmt.Errorf("writing STL: %w", err)
	}
	return nil
}

// stlHeaderText makes 80 bytes of a name. Readers that look no further take a
// file whose header begins with "solid" for ASCII.
func stlHeaderText(name string) []byte {
	name = strings.Map(func(r rune) rune {
		if r < ' ' || r > '~' {
			return '?'
		}
		return r
	}, strings.TrimSpace(name))
	if len(name) >= 5 && strings.EqualFold(name[:5], "solid") {
		name = "STL " + name
	}
	header := make([]byte, stlHeader-4)
	copy(header, name)
	return header
}
