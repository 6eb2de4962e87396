package mesh_test

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"falsework/mesh"

	"github.com/google/go-cmp/cmp"
	"github.com/hpinc/go3mf"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
)

// A reader and a writer of other people are the twins of ours.
func Test3MFAgreesWithAnotherLibrary(t *testing.T) {
	p := baked(t)
	p.SolidSupport = true
	var theirs go3mf.Model
	data := encode3MF(t, p)
	if err := go3mf.NewDecoder(bytes.NewReader(data), int64(len(data))).Decode(&theirs); err != nil {
		t.Fatal(err)
	}
	if err := theirs.Validate(); err != nil {
		t.Error(err)
	}
	if err := theirs.ValidateCoherency(); err != nil {
		t.Error(err)
	}
	want := append([]mesh.Body{p.Part}, p.Supports...)
	for i, o := range theirs.Resources.Objects[:len(want)] {
		m := &mesh.Mesh{}
		for _, v := range o.Mesh.Vertices.Vertex {
			m.Vertices = append(m.Vertices, r3.Vec{X: float64(v[0]), Y: float64(v[1]), Z: float64(v[2])})
		}
		for _, v := range o.Mesh.Triangles.Triangle {
			m.Triangles = append(m.Triangles, [3]uint32{v.V1, v.V2, v.V3})
		}
		if d := cmp.Diff(want[i].Mesh, m); d != "" || o.Name != want[i].Name {
			t.Errorf("%s read as %s (-want +got):\n%s", want[i].Name, o.Name, d)
		}
		if (o.Type == go3mf.ObjectTypeSolidSupport) != (i > 0) {
			t.Errorf("%s is of type %v", o.Name, o.Type)
		}
	}
	var b bytes.Buffer
	enc := go3mf.NewEncoder(&b)
	enc.FloatPrecision = -1
	if err := enc.Encode(&theirs); err != nil {
		t.Fatal(err)
	}
	ours, err := mesh.Decode3MF("ours", data)
	if err != nil {
		t.Fatal(err)
	}
	again, err := mesh.Decode3MF("theirs", b.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(ours.Bodies, again.Bodies); d != "" {
		t.Errorf("their writing of it (-ours +theirs):\n%s", d)
	}
}

func Test3MFNumbers(t *testing.T) {
	for _, s := range []string{"0", "-0", "1.", ".5", "+3", "1e3", "1E-3", "123456789012345", "1234567890123456789", "0.1", "-12.375", "4.9e-324"} {
		want, err := strconv.ParseFloat(s, 64)
		if got, ok := mesh.ParseNumberForTest(s); err != nil || !ok || got != want {
			t.Errorf("%q is %v, %v; want %v", s, got, ok, want)
		}
	}
	for _, s := range []string{"", "-", ".", "1e", "1.2.3", "0x1", "1_0", "NaN", "inf", "Infinity", "--1", "1e999"} {
		if got, ok := mesh.ParseNumberForTest(s); ok {
			t.Errorf("%q is %v", s, got)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		f := rapid.Float32().Draw(t, "f")
		s := strconv.FormatFloat(float64(f), 'f', -1, 32)
		if got, ok := mesh.ParseNumberForTest(s); !ok || math.Float32bits(float32(got)) != math.Float32bits(f) {
			t.Fatalf("%s became %v, %v", s, got, ok)
		}
		s = rapid.StringMatching(`[-+]?[0-9]{1,17}(\.[0-9]{0,9})?`).Draw(t, "s")
		want, err := strconv.ParseFloat(s, 64)
		if got, ok := mesh.ParseNumberForTest(s); err != nil || !ok || got != want {
			t.Fatalf("%s became %v, %v; want %v", s, got, ok, want)
		}
	})
}

// What XML 1.0 lets a writer do without changing the model.
func Test3MFXML(t *testing.T) {
	one := object(1, tetra)
	item := `<item objectid="1"/>`
	plain := model3MF(``, one, item)
	for name, model := range map[string]string{
		"byte order mark":    "\xEF\xBB\xBF" + plain,
		"comments":           strings.ReplaceAll(plain, "<triangles>", "<!-- <mesh> & --><triangles><?ours a>b?>"),
		"single quotes":      strings.ReplaceAll(plain, `"`, `'`),
		"white space":        strings.NewReplacer(`<vertex `, "<vertex\n\t", `"/>`, "\" />\r\n", `="`, ` = "`).Replace(plain),
		"references":         strings.Replace(plain, `x="6"`, `x="&#54;"`, 1),
		"by prefix":          strings.NewReplacer(`xmlns=`, `xmlns:c=`, `</`, `</c:`, `<`, `<c:`, `<?`, `<?`).Replace(plain[len(`<?xml version="1.0" encoding="UTF-8"?>`):]),
		"elements of others": strings.Replace(plain, `<mesh>`, `<mesh><o:vertices xmlns:o="urn:o"><o:vertex x="a"/></o:vertices>`, 1),
		"long elements":      strings.Replace(plain, `<mesh>`, `<mesh><extra>`+strings.Repeat("abc ", 50_000)+`</extra>`, 1),
		"no empty elements":  strings.ReplaceAll(strings.ReplaceAll(plain, `"/><vertex`, `"></vertex><vertex`), `"/><triangle `, `"></triangle><triangle `),
		"data sections":      strings.Replace(plain, `<resources>`, `<metadata name="Title"><![CDATA[<a>]]> &amp; b</metadata><resources>`, 1),
	} {
		doc, err := mesh.Decode3MF("part.3mf", pack(model))
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if v := doc.Bodies[0].Mesh.Volume(); len(doc.Bodies) != 1 || math.Abs(v-36) > 1e-9 {
			t.Errorf("%s: %d bodies, volume %g", name, len(doc.Bodies), v)
		}
		if name == "data sections" && doc.Title != "<a> & b" {
			t.Errorf("%s: title %q", name, doc.Title)
		}
	}
}

// A model may be spread over files, each with a unit of its own: 3MF Production
// Extension, and chapter 3.4 of the Core Specification for units.
func Test3MFOverFiles(t *testing.T) {
	inner := model3MF(`unit="centimeter"`, object(1, tetra), ``)
	outer := model3MF(production, `<object id="2"><components><component objectid="1" p:path="/3D/b.model" transform="1 0 0 0 1 0 0 0 1 5 0 0"/></components></object>`, `<item objectid="2"/>`)
	doc, err := mesh.Decode3MF("part.3mf", pack(outer, "3D/b.model", inner))
	if err != nil {
		t.Fatal(err)
	}
	want := r3.Box{Min: r3.Vec{X: 5}, Max: r3.Vec{X: 65, Y: 60, Z: 60}}
	if got := doc.Bodies[0].Mesh.Bounds(); got != want {
		t.Errorf("spans %v, want %v", got, want)
	}
}

// What breaks a rule that does not touch the solids is told.
func Test3MFNotes(t *testing.T) {
	item := `<item objectid="1"/>`
	for name, c := range map[string]struct{ model, want string }{
		"unknown metadata":     {model3MF(``, `</resources><metadata name="Colour">red</metadata><resources>`+object(1, tetra), item), `metadata "Colour"`},
		"prefix not declared":  {model3MF(``, `</resources><metadata name="v:Colour">red</metadata><resources>`+object(1, tetra), item), `metadata "v:Colour"`},
		"given twice":          {model3MF(``, `</resources><metadata name="Title">a</metadata><metadata name="Title">b</metadata><resources>`+object(1, tetra), item), "given again"},
		"thumbnail, unrelated": {model3MF(``, `<object id="1" thumbnail="/a.png">`+tetra+`</object>`, item), "no relationship"},
	} {
		doc, err := mesh.Decode3MF(name, pack(c.model))
		if err != nil {
			t.Errorf("%s: %v", name, err)
		} else if notes := strings.Join(doc.Notes.Skipped, "; "); !strings.Contains(notes, c.want) {
			t.Errorf("%s: noted %q, want %q", name, notes, c.want)
		}
	}
}

func Test3MFObjectThumbnails(t *testing.T) {
	p := baked(t)
	p.Part.Thumbnail = picture(t)
	p.Supports[1].Thumbnail = picture(t)
	doc, err := mesh.Decode3MF("", encode3MF(t, p))
	if err != nil || len(doc.Notes.Skipped) > 0 {
		t.Fatal(err, doc.Notes.Skipped)
	}
	for i, want := range [][]byte{p.Part.Thumbnail, nil, p.Supports[1].Thumbnail} {
		if !bytes.Equal(doc.Bodies[i].Thumbnail, want) {
			t.Errorf("body %d has a picture of %d bytes, want %d", i, len(doc.Bodies[i].Thumbnail), len(want))
		}
	}
	p.Part.Thumbnail = []byte("GIF89a")
	if err := mesh.Encode3MF(&bytes.Buffer{}, p); err == nil {
		t.Error("a GIF was written")
	}
}

// From STL to 3MF and back a part keeps its corners within 1 µm.
func Test3MFKeepsWhatSTLHolds(t *testing.T) {
	files, err := filepath.Glob(filepath.Join("..", "testdata", "parts", "*.stl"))
	if err != nil || len(files) == 0 {
		t.Fatal("no parts", err)
	}
	for _, path := range files {
		m, _, err := mesh.ReadSTL(path)
		if err != nil {
			t.Fatal(err)
		}
		doc, err := mesh.Decode3MF("", encode3MF(t, mesh.Package{Part: mesh.Body{Mesh: m}}))
		if err != nil {
			t.Fatal(err)
		}
		lo := m.Bounds().Min
		doc.Bodies[0].Mesh.Translate(r3.Vec{X: -math.Ceil(max(0, -lo.X)), Y: -math.Ceil(max(0, -lo.Y)), Z: -math.Ceil(max(0, -lo.Z)*1000) / 1000})
		back, _, err := mesh.DecodeSTL("", encode(t, doc.Bodies[0].Mesh, ""))
		if err != nil {
			t.Fatal(err)
		}
		if len(back.Triangles) != len(m.Triangles) {
			t.Fatalf("%s: %d triangles became %d", path, len(m.Triangles), len(back.Triangles))
		}
		worst := 0.0
		for i := range m.Triangles {
			for k := range 3 {
				worst = max(worst, r3.Norm(r3.Sub(m.Vertices[m.Triangles[i][k]], back.Vertices[back.Triangles[i][k]])))
			}
		}
		if worst > 1e-3 {
			t.Errorf("%s: a corner moved by %g mm", path, worst)
		}
	}
}

// standardExceptions are test packages that are refused although their names say
// otherwise, and why.
var standardExceptions = map[string]string{
	"Reader_GEN-C-ADA-COMPONENT-TRANSFORM-0": "a component has two transforms, which is no well-formed XML 1.0 (3.1, unique attributes): it has no certain place",
	"Mixed_Thumbnail_Package":                "its mesh is declared coarser than the slices that are to be printed (Slice Extension, meshresolution)",
}

// FALSEWORK_STANDARDS may name a folder with the consortium's test packages: a
// name says which are to be refused or warned about.
func Test3MFStandardCases(t *testing.T) {
	dir := os.Getenv("FALSEWORK_STANDARDS")
	if dir == "" {
		t.Skip("set FALSEWORK_STANDARDS to a folder of the consortium's test packages")
	}
	files, err := filepath.Glob(filepath.Join(dir, "*.3mf"))
	if err != nil || len(files) == 0 {
		t.Fatal("no packages", err)
	}
	for _, path := range files {
		name := strings.TrimSuffix(filepath.Base(path), ".3mf")
		bad := false
		for _, mark := range []string{"_Fail", "NotListed", "Unsupported", "IncorrectRelationship"} {
			bad = bad || strings.Contains(name, mark)
		}
		if why, ok := standardExceptions[name]; ok {
			t.Logf("%s: %s", name, why)
			bad = true
		}
		doc, err := mesh.Read3MF(path)
		told := err != nil || len(doc.Notes.Skipped) > 0
		said := fmt.Sprint(err, doc.Notes.Skipped)
		if told != bad {
			t.Errorf("%s: told %v, want %v: %s", name, told, bad, said)
		} else {
			t.Logf("%s: %s", name, said)
		}
	}
}
