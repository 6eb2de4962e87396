package mesh_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"

	"github.com/google/go-cmp/cmp"
	"gonum.org/v1/gonum/spatial/r3"
)

// encode is EncodeSTL into memory.
func encode(t testing.TB, m *mesh.Mesh, name string) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := mesh.EncodeSTL(&b, m, name); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// ascii writes meshes as the solids of one ASCII file.
func ascii(solids ...*mesh.Mesh) string {
	var b strings.Builder
	for i, m := range solids {
		fmt.Fprintf(&b, "solid number %d\n", i)
		for t := range m.Triangles {
			fmt.Fprintf(&b, "  facet normal 0 0 0\n    outer loop\n")
			p, q, r := m.Corners(t)
			for _, v := range []r3.Vec{p, q, r} {
				fmt.Fprintf(&b, "      vertex %v %v %v\n", float32(v.X), float32(v.Y), float32(v.Z))
			}
			fmt.Fprintf(&b, "    endloop\n  endfacet\n")
		}
		fmt.Fprintf(&b, "endsolid number %d\n", i)
	}
	return b.String()
}

// binarySTL writes loose triangles as they are, NaN and all.
func binarySTL(header string, corners [][3][3]float32) []byte {
	b := make([]byte, 80, 84+50*len(corners))
	copy(b, header)
	b = binary.LittleEndian.AppendUint32(b, uint32(len(corners)))
	for _, t := range corners {
		b = append(b, make([]byte, 12)...)
		for _, v := range t {
			for _, x := range v {
				b = binary.LittleEndian.AppendUint32(b, math.Float32bits(x))
			}
		}
		b = append(b, 0, 0)
	}
	return b
}

// loose returns the corners of each triangle.
func loose(m *mesh.Mesh) [][3][3]float32 {
	out := make([][3][3]float32, len(m.Triangles))
	for t := range out {
		a, b, c := m.Corners(t)
		for k, v := range []r3.Vec{a, b, c} {
			out[t][k] = [3]float32{float32(v.X), float32(v.Y), float32(v.Z)}
		}
	}
	return out
}

var cube = meshtest.Box(r3.Vec{X: -5, Y: -5}, r3.Vec{X: 5, Y: 5, Z: 10})

func TestSTLRoundTrip(t *testing.T) {
	two := cube.Clone()
	apart := meshtest.Sphere(r3.Vec{X: 40}, 8, 6)
	two.Append(apart)
	for name, m := range map[string]*mesh.Mesh{
		"cube": cube, "blob": meshtest.Blob(20000), "two shells": two,
	} {
		got, notes, err := mesh.DecodeSTL(name, encode(t, m, "solid "+name))
		if err != nil {
			t.Fatal(err)
		}
		if notes.Format != "binary STL" || notes.Facets != len(m.Triangles) {
			t.Errorf("%s: notes %+v", name, notes)
		}
		if len(got.Vertices) != len(m.Vertices) {
			t.Errorf("%s: %d vertices, want %d", name, len(got.Vertices), len(m.Vertices))
		}
		if d := cmp.Diff(loose(m), loose(got)); d != "" {
			t.Errorf("%s: triangles differ (-want +got):\n%s", name, d)
		}
		if !got.Topology().Watertight() {
			t.Errorf("%s: %+v", name, got.Topology())
		}
		if !bytes.Equal(encode(t, got, name), encode(t, got, name)) {
			t.Errorf("%s: two encodings differ", name)
		}
	}
}

func TestSTLHeaderNeverLooksLikeASCII(t *testing.T) {
	for _, name := range []string{"solid part", "SOLID", "  solid", "Größe", strings.Repeat("long ", 40), ""} {
		b := encode(t, cube, name)
		if len(b) != 84+50*12 {
			t.Errorf("%q: %d bytes", name, len(b))
		}
		if bytes.HasPrefix(bytes.ToLower(bytes.TrimSpace(b[:80])), []byte("solid")) {
			t.Errorf("%q: header %q", name, b[:80])
		}
	}
}

func TestSTLNormalsPointOutward(t *testing.T) {
	b := encode(t, cube, "cube")
	for i := range cube.Triangles {
		var n r3.Vec
		for k, to := range []*float64{&n.X, &n.Y, &n.Z} {
			*to = float64(math.Float32frombits(binary.LittleEndian.Uint32(b[84+50*i+4*k:])))
		}
		a, _, _ := cube.Corners(i)
		if d := r3.Dot(n, r3.Sub(a, r3.Vec{Z: 5})); math.Abs(d-5) > 1e-6 {
			t.Errorf("triangle %d: normal %v at distance %g from the centre", i, n, d)
		}
	}
}

func TestASCIIForms(t *testing.T) {
	text := ascii(cube)
	for name, in := range map[string]string{
		"plain":              text,
		"byte order mark":    "\xEF\xBB\xBF" + text,
		"upper case":         strings.ToUpper(text),
		"no name":            strings.ReplaceAll(text, " number 0", ""),
		"leading lines":      "\n\n  " + text,
		"CR LF":              strings.ReplaceAll(text, "\n", "\r\n"),
		"lone CR":            strings.ReplaceAll(text, "\n", "\r"),
		"one long line":      strings.Replace(strings.ReplaceAll(text, "\n", " "), "number 0", "\n", 1),
		"tabs":               strings.ReplaceAll(text, "  ", "\t"),
		"no final newline":   strings.TrimSpace(text),
		"exponents":          strings.ReplaceAll(text, "vertex 5 ", "vertex 5.0E+00 "),
		"many blank lines":   strings.Replace(text, "outer", strings.Repeat("\n", 3_000_000)+"outer", 1),
		"facet in the name":  strings.Replace(text, "number 0", "facet outer loop", 1),
		"normals not finite": strings.ReplaceAll(text, "normal 0 0 0", "normal nan nan nan"),
	} {
		got, notes, err := mesh.DecodeSTL(name, []byte(in))
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if notes.Format != "ASCII STL" || notes.Facets != 12 || got.Volume() != 1000 || !got.Topology().Watertight() {
			t.Errorf("%s: %+v, volume %g", name, notes, got.Volume())
		}
	}
}

func TestASCIISeveralSolids(t *testing.T) {
	// Large enough that solids are parsed in several pieces.
	blob := meshtest.Blob(20000)
	ball := meshtest.Sphere(r3.Vec{X: 90}, 8, 6)
	got, notes, err := mesh.DecodeSTL("three", []byte(ascii(blob, cube, ball)))
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff([]string{"number 0", "number 1", "number 2"}, notes.Names); d != "" {
		t.Errorf("names (-want +got):\n%s", d)
	}
	all := blob.Clone()
	all.Append(cube)
	all.Append(ball)
	if d := cmp.Diff(loose(all), loose(got)); d != "" {
		t.Errorf("triangles (-want +got):\n%s", d)
	}
}

func TestSTLErrors(t *testing.T) {
	good := encode(t, cube, "cube")
	text := ascii(cube)
	nan := loose(cube)
	nan[7][1][2] = float32(math.NaN())
	inf := loose(cube)
	inf[0][0][0] = float32(math.Inf(-1))
	scaled := func(f float64) []byte {
		m := cube.Clone()
		for i, v := range m.Vertices {
			m.Vertices[i] = r3.Scale(f, v)
		}
		return encode(t, m, "")
	}
	far := cube.Clone()
	far.Translate(r3.Vec{X: 20000})
	sheet := meshtest.Box(r3.Vec{}, r3.Vec{X: 10, Y: 10})
	tilted := &mesh.Mesh{
		Vertices:  []r3.Vec{{}, {X: 10}, {X: 10, Y: 10, Z: 10}, {Y: 10, Z: 10}},
		Triangles: [][3]uint32{{0, 1, 2}, {0, 2, 3}, {2, 1, 0}, {3, 2, 0}},
	}

	for _, c := range []struct {
		name string
		data []byte
		want string // words that the message must hold, separated by |
		as   any
	}{
		{"empty", nil, "the file is empty", new(*mesh.FormatError)},
		{"text", []byte("Dear printer,"), `does not begin with "solid"`, new(*mesh.FormatError)},
		{"long text", bytes.Repeat([]byte("Dear printer, "), 100), `does not begin with "solid"`, new(*mesh.FormatError)},
		{"picture", append([]byte("\x89PNG\r\n\x1a\n"), make([]byte, 500)...), "a PNG picture", new(*mesh.UnsupportedError)},
		{"package", append([]byte("PK\x03\x04"), make([]byte, 500)...), "3MF", new(*mesh.UnsupportedError)},
		{"short binary", []byte{1, 2, 3}, "3 bytes", new(*mesh.FormatError)},
		{"header only", good[:84], "byte 84|triangle 1,|promises 12 triangles", new(*mesh.FormatError)},
		{"cut in a triangle", good[:84+50*3+7], "byte 241|triangle 4,|684 bytes", new(*mesh.FormatError)},
		{"one byte less", good[:len(good)-1], "byte 683|triangle 12,", new(*mesh.FormatError)},
		{"one byte more", append(bytes.Clone(good), 0), "byte 684|1 bytes follow", new(*mesh.FormatError)},
		{"false count", binarySTL("", nil)[:80:80], "no binary STL", new(*mesh.FormatError)},
		{"no triangles", binarySTL("", nil), "holds no triangles", new(*mesh.FormatError)},
		{"solid in a binary header, cut", append([]byte("solid x"), good[7:200]...), "byte 200|promises 12 triangles", new(*mesh.FormatError)},
		{"NaN", binarySTL("", nan), "triangle 8 at byte 434|NaN|not finite", new(*mesh.FormatError)},
		{"infinite", binarySTL("", inf), "triangle 1 at byte 84|-Inf", new(*mesh.FormatError)},
		{"no areas", binarySTL("", make([][3][3]float32, 3)), "none of its 3 triangles", new(*mesh.FormatError)},
		{"tiny", scaled(0.01), "0.1 × 0.1 × 0.1 mm|inches|25.4", new(*mesh.SizeError)},
		{"huge", scaled(1000), "1e+04 × 1e+04 × 1e+04 mm|limit of 1000 mm", new(*mesh.SizeError)},
		{"far out", encode(t, far, ""), "from the origin", new(*mesh.SizeError)},
		{"flat", []byte(ascii(&mesh.Mesh{Vertices: []r3.Vec{{}, {X: 9}, {Y: 9}}, Triangles: [][3]uint32{{0, 1, 2}}})), "flat, 9 × 9 × 0 mm", new(*mesh.FormatError)},
		{"folded sheet", encode(t, tilted, ""), "encloses no volume", new(*mesh.FormatError)},
		{"box without height", encode(t, sheet, ""), "no triangles", new(*mesh.FormatError)},
		{"ASCII without end", []byte(text[:strings.Index(text, "endsolid")]), "line 86|solid of line 1|cut short", new(*mesh.FormatError)},
		{"ASCII cut in a facet", []byte(text[:strings.LastIndex(text, "vertex")]), "line 82|not complete", new(*mesh.FormatError)},
		{"ASCII with a bad number", []byte(strings.Replace(text, "vertex 5", "vertex five", 1)), `line 5|number|"five"`, new(*mesh.FormatError)},
		{"ASCII with a bad word", []byte(strings.Replace(text, "endloop", "endlop", 1)), `line 7|"endloop" expected, found "endlop"`, new(*mesh.FormatError)},
		{"ASCII after the end", []byte(text + "more\n"), `line 87|"solid" expected, found "more"`, new(*mesh.FormatError)},
		{"ASCII, empty solid", []byte("solid nothing\nendsolid nothing\n"), "holds no triangles", new(*mesh.FormatError)},
		{"ASCII, solid alone", []byte("solid"), "line 1|cut short", new(*mesh.FormatError)},
		{"ASCII, NaN", []byte(strings.Replace(text, "vertex 5", "vertex nan", 1)), "triangle 1 at line 2|NaN", new(*mesh.FormatError)},
		{"ASCII, too large a number", []byte(strings.Replace(text, "vertex 5", "vertex 1e99", 1)), `line 5|"1e99"`, new(*mesh.FormatError)},
		{"ASCII, endless word", []byte("solid\n" + strings.Repeat("x", 1_000_000)), "line 2|1000000 letters", new(*mesh.FormatError)},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, _, err := mesh.DecodeSTL("part.stl", c.data)
			if err == nil {
				t.Fatal("accepted")
			}
			for _, w := range strings.Split(c.want, "|") {
				if !strings.Contains(err.Error(), w) {
					t.Errorf("%q lacks %q", err, w)
				}
			}
			if !errors.As(err, c.as) {
				t.Errorf("%T is not a %T", err, c.as)
			}
			if !strings.HasPrefix(err.Error(), "part.stl: ") || strings.Contains(err.Error(), "\n") {
				t.Errorf("%q is not one line that begins with the file", err)
			}
		})
	}
}

func TestDroppedTrianglesAreCounted(t *testing.T) {
	tri := loose(cube)
	tri = append(tri, [3][3]float32{tri[0][0], tri[0][0], tri[0][1]}, [3][3]float32{{99, 99, 99}, {99, 99, 99}, {99, 99, 99}})
	m, notes, err := mesh.DecodeSTL("", binarySTL("", tri))
	if err != nil {
		t.Fatal(err)
	}
	if notes.Dropped != 2 || notes.Facets != 14 || len(m.Triangles) != 12 || len(m.Vertices) != 8 {
		t.Errorf("%+v, %d triangles, %d vertices", notes, len(m.Triangles), len(m.Vertices))
	}
	if w := notes.Warnings(); len(w) != 1 || !strings.Contains(w[0], "2 of 14") {
		t.Errorf("warnings %q", w)
	}
}

func TestInsideOutIsTurned(t *testing.T) {
	tri := loose(cube)
	for i := range tri {
		tri[i][1], tri[i][2] = tri[i][2], tri[i][1]
	}
	m, notes, err := mesh.DecodeSTL("", binarySTL("", tri))
	if err != nil {
		t.Fatal(err)
	}
	if !notes.InsideOut || m.Volume() != 1000 {
		t.Errorf("%+v, volume %g", notes, m.Volume())
	}
}

// TestWeldAgainstMap compares the hash with a Go map keyed by position, on a
// blob whose every second zero is negative.
func TestWeldAgainstMap(t *testing.T) {
	blob := meshtest.Blob(30000)
	blob.Append(cube)
	tri := loose(blob)
	negative := float32(math.Copysign(0, -1))
	flip := false
	for i := range tri {
		for k := range tri[i] {
			for j, x := range tri[i][k] {
				if x == 0 {
					if flip = !flip; flip {
						tri[i][k][j] = negative
					}
				}
			}
		}
	}
	got, _, err := mesh.DecodeSTL("", binarySTL("", tri))
	if err != nil {
		t.Fatal(err)
	}

	// Float keys already take -0 for 0.
	index := make(map[[3]float32]uint32)
	var want mesh.Mesh
	for _, corners := range tri {
		var v [3]uint32
		for k, p := range corners {
			i, seen := index[p]
			if !seen {
				i = uint32(len(index))
				index[p] = i
				want.Vertices = append(want.Vertices, r3.Vec{X: float64(p[0]), Y: float64(p[1]), Z: float64(p[2])})
			}
			v[k] = i
		}
		want.Triangles = append(want.Triangles, v)
	}
	if d := cmp.Diff(&want, got); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
	for i, v := range got.Vertices {
		if math.Signbit(v.X) && v.X == 0 || math.Signbit(v.Y) && v.Y == 0 || math.Signbit(v.Z) && v.Z == 0 {
			t.Fatalf("vertex %d keeps a negative zero", i)
		}
	}
}

func TestReadSTL(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "cube.stl")
	if err := os.WriteFile(path, encode(t, cube, "cube"), 0o644); err != nil {
		t.Fatal(err)
	}
	m, notes, err := mesh.ReadSTL(path)
	if err != nil || m.Volume() != 1000 || cmp.Diff([]string{"cube"}, notes.Names) != "" {
		t.Errorf("%+v, %v", notes, err)
	}
	if _, _, err := mesh.ReadSTL(filepath.Join(dir, "none.stl")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("missing file: %v", err)
	}
	if _, _, err := mesh.ReadSTL(dir); err == nil || !strings.Contains(err.Error(), "not a regular file") {
		t.Errorf("folder: %v", err)
	}
}

// limitedWriter fails once it has taken n bytes.
type limitedWriter struct{ n int }

var errFull = errors.New("no space left")

func (w *limitedWriter) Write(p []byte) (int, error) {
	if len(p) > w.n {
		n := w.n
		w.n = 0
		return n, errFull
	}
	w.n -= len(p)
	return len(p), nil
}

var _ io.Writer = (*limitedWriter)(nil)

func TestWritersReportFailure(t *testing.T) {
	for _, n := range []int{0, 50, 500} {
		if err := mesh.EncodeSTL(&limitedWriter{n}, cube, ""); !errors.Is(err, errFull) {
			t.Errorf("STL after %d bytes: %v", n, err)
		}
		if err := mesh.Encode3MF(&limitedWriter{n}, mesh.Package{Part: mesh.Body{Mesh: cube}}); !errors.Is(err, errFull) {
			t.Errorf("3MF after %d bytes: %v", n, err)
		}
	}
	bad := &mesh.Mesh{Vertices: []r3.Vec{{}}, Triangles: [][3]uint32{{0, 1, 2}}}
	huge := cube.Clone()
	huge.Vertices[3].X = 1e300
	for name, m := range map[string]*mesh.Mesh{"indices": bad, "too far": huge} {
		if err := mesh.EncodeSTL(io.Discard, m, ""); err == nil {
			t.Errorf("%s: written as STL", name)
		}
		if err := mesh.Encode3MF(io.Discard, mesh.Package{Part: mesh.Body{Mesh: m}}); err == nil {
			t.Errorf("%s: written as 3MF", name)
		}
	}
}

func TestRound32ContractsWhatCollapses(t *testing.T) {
	// A box much thinner than float32 can tell 50 mm from: its four sides vanish
	// and its two faces lie back to back.
	m := meshtestThin(50, 1e-9)
	dropped := m.Round32()
	if dropped != 8 || len(m.Triangles) != 4 || len(m.Vertices) != 4 {
		t.Errorf("dropped %d, left %d triangles on %d vertices", dropped, len(m.Triangles), len(m.Vertices))
	}
	if !m.Topology().Closed() {
		t.Errorf("%+v", m.Topology())
	}

	// Coincident vertices of two shells stay apart.
	two := cube.Clone()
	beside := meshtest.Box(r3.Vec{X: 5, Y: -5}, r3.Vec{X: 9, Y: 5, Z: 10})
	two.Append(beside)
	if n := two.Round32(); n != 0 || len(two.Vertices) != 16 || two.Topology().Shells != 2 {
		t.Errorf("dropped %d, %d vertices, %+v", n, len(two.Vertices), two.Topology())
	}

	blob := meshtest.Blob(5000)
	same := blob.Clone()
	if n := same.Round32(); n != 0 || cmp.Diff(blob, same) != "" {
		t.Error("rounding rounded coordinates changes them")
	}
}

// meshtestThin is a box of 10 × 10 mm and the given thickness at height z.
func meshtestThin(z, thickness float64) *mesh.Mesh {
	m := cube.Clone()
	for i, v := range m.Vertices {
		if v.Z == 0 {
			m.Vertices[i].Z = z
		} else {
			m.Vertices[i].Z = z + thickness
		}
	}
	return m
}
