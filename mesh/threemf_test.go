package mesh_test

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"encoding/xml"
	"errors"
	"fmt"
	"image"
	"image/png"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf16"

	"falsework/mesh"
	"falsework/mesh/meshtest"

	"github.com/google/go-cmp/cmp"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

func encode3MF(t testing.TB, p mesh.Package) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := mesh.Encode3MF(&b, p); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func picture(t testing.TB) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := png.Encode(&b, image.NewGray(image.Rect(0, 0, 8, 8))); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// baked is a part with two supports under it, off to the negative side.
func baked(t testing.TB) mesh.Package {
	t.Helper()
	blob := meshtest.Blob(3000)
	post := mesh.Tube(mesh.RegularPolygon(r2.Vec{X: -24}, 2.5, 12, 0), mesh.RegularPolygon(r2.Vec{X: -24}, 2, 12, 0), 0, 12)
	wall, err := mesh.Wall([]mesh.Station{{P: r2.Vec{X: -28}, Low: 9, High: 12}, {P: r2.Vec{X: -24, Y: 3}, Low: 5, High: 12}}, 0.5)
	if err != nil {
		t.Fatal(err)
	}
	post.Round32()
	wall.Round32()
	return mesh.Package{
		Title: "Gauge's <bracket> & \"post\"", Designer: "Zoë", Description: "two\nlines", License: "MIT",
		Application: "falsework", Created: "2026-01-31",
		Part:      mesh.Body{Name: "bracket", Mesh: blob},
		Supports:  []mesh.Body{{Name: "post", Mesh: post}, {Name: "wall", Mesh: wall}},
		Thumbnail: picture(t),
	}
}

func Test3MFRoundTrip(t *testing.T) {
	p := baked(t)
	data := encode3MF(t, p)
	if !bytes.Equal(data, encode3MF(t, p)) {
		t.Error("two encodings differ")
	}
	doc, err := mesh.Decode3MF("baked.3mf", data)
	if err != nil {
		t.Fatal(err)
	}
	got := []string{doc.Title, doc.Designer, doc.Description, doc.License, doc.Application, doc.Created}
	if d := cmp.Diff([]string{p.Title, p.Designer, p.Description, p.License, p.Application, p.Created}, got); d != "" {
		t.Errorf("texts (-want +got):\n%s", d)
	}
	if !bytes.Equal(doc.Thumbnail, p.Thumbnail) {
		t.Errorf("thumbnail of %d bytes, want %d", len(doc.Thumbnail), len(p.Thumbnail))
	}
	bodies := append([]mesh.Body{p.Part}, p.Supports...)
	if len(doc.Bodies) != len(bodies) {
		t.Fatalf("%d bodies", len(doc.Bodies))
	}
	// The build item moves everything by whole millimetres into the positive octant.
	lo := p.Part.Mesh.Bounds().Min
	for _, b := range bodies {
		m := b.Mesh.Bounds().Min
		lo = r3.Vec{X: min(lo.X, m.X), Y: min(lo.Y, m.Y), Z: min(lo.Z, m.Z)}
	}
	shift := r3.Vec{X: math.Ceil(-lo.X), Y: math.Ceil(-lo.Y)}
	for i, b := range bodies {
		back := doc.Bodies[i]
		if back.Name != b.Name {
			t.Errorf("body %d is named %q, want %q", i, back.Name, b.Name)
		}
		if min := back.Mesh.Bounds().Min; min.X < 0 || min.Y < 0 || min.Z < 0 {
			t.Errorf("%s begins at %v", b.Name, min)
		}
		back.Mesh.Translate(r3.Scale(-1, shift))
		if d := cmp.Diff(b.Mesh.Triangles, back.Mesh.Triangles); d != "" {
			t.Errorf("%s: triangles (-want +got):\n%s", b.Name, d)
		}
		for v := range b.Mesh.Vertices {
			if d := r3.Norm2(r3.Sub(b.Mesh.Vertices[v], back.Mesh.Vertices[v])); d > 1e-20 {
				t.Fatalf("%s: vertex %d off by %g mm", b.Name, v, math.Sqrt(d))
			}
		}
	}
}

func Test3MFWithoutSupports(t *testing.T) {
	p := mesh.Package{Part: mesh.Body{Name: "part", Mesh: cube}, Supports: []mesh.Body{{Name: "none", Mesh: &mesh.Mesh{}}, {}}}
	data := encode3MF(t, p)
	model := string(unpack(t, data)["3D/3dmodel.model"])
	if n := strings.Count(model, "<object "); n != 1 || strings.Contains(model, "<components") {
		t.Errorf("%d objects in\n%s", n, model)
	}
	doc, err := mesh.Decode3MF("", data)
	if err != nil || len(doc.Bodies) != 1 || doc.Bodies[0].Mesh.Volume() != 1000 {
		t.Errorf("%+v, %v", doc, err)
	}
}

// A vertex a hair below the plate must not lift the model off it by a millimetre.
func Test3MFLiftsNoMoreThanNeeded(t *testing.T) {
	m := cube.Clone()
	m.Translate(r3.Vec{Z: -0.0004})
	doc, err := mesh.Decode3MF("", encode3MF(t, mesh.Package{Part: mesh.Body{Mesh: m}}))
	if err != nil {
		t.Fatal(err)
	}
	if z := doc.Bodies[0].Mesh.Bounds().Min.Z; z < 0 || z > 0.001 {
		t.Errorf("rests at %g mm", z)
	}
}

func unpack(t testing.TB, data []byte) map[string][]byte {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	out := make(map[string][]byte)
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		if out[f.Name], err = io.ReadAll(r); err != nil {
			t.Fatal(err)
		}
		r.Close()
	}
	return out
}

// What the specification asks of a model with supports, read off the XML.
func Test3MFStructure(t *testing.T) {
	files := unpack(t, encode3MF(t, baked(t)))
	var model struct {
		Unit     string `xml:"unit,attr"`
		Metadata []struct {
			Name string `xml:"name,attr"`
		} `xml:"metadata"`
		Objects []struct {
			ID         int    `xml:"id,attr"`
			Type       string `xml:"type,attr"`
			Name       string `xml:"name,attr"`
			Components []struct {
				ObjectID  int    `xml:"objectid,attr"`
				Transform string `xml:"transform,attr"`
			} `xml:"components>component"`
		} `xml:"resources>object"`
		Items []struct {
			ObjectID int `xml:"objectid,attr"`
		} `xml:"build>item"`
	}
	if err := xml.Unmarshal(files["3D/3dmodel.model"], &model); err != nil {
		t.Fatal(err)
	}
	if model.Unit != "millimeter" || len(model.Metadata) != 6 || len(model.Objects) != 4 || len(model.Items) != 1 {
		t.Fatalf("%+v", model)
	}
	for i, o := range model.Objects {
		if o.ID != i+1 || o.Type != "" && o.Type != "model" {
			t.Errorf("object %d: %+v", i, o)
		}
	}
	assembly := model.Objects[3]
	if len(assembly.Components) != 3 || model.Items[0].ObjectID != assembly.ID {
		t.Errorf("%+v built as %+v", assembly, model.Items)
	}
	for i, c := range assembly.Components {
		if c.ObjectID != i+1 || c.Transform != "" {
			t.Errorf("component %d: %+v", i, c)
		}
	}
	if rels := string(files["_rels/.rels"]); !strings.Contains(rels, "metadata/thumbnail") || !strings.Contains(rels, "/3D/3dmodel.model") {
		t.Errorf("relationships %s", rels)
	}
	if types := string(files["[Content_Types].xml"]); !strings.Contains(types, "image/png") || !strings.Contains(types, `Extension="rels"`) {
		t.Errorf("content types %s", types)
	}
}

func Test3MFRefusals(t *testing.T) {
	doubled := cube.Clone()
	doubled.Triangles[0] = [3]uint32{1, 1, 2}
	for name, p := range map[string]mesh.Package{
		"no part":             {},
		"empty part":          {Part: mesh.Body{Mesh: &mesh.Mesh{}}},
		"thumbnail not a PNG": {Part: mesh.Body{Mesh: cube}, Thumbnail: []byte("GIF89a")},
		"repeated vertex":     {Part: mesh.Body{Mesh: doubled}},
	} {
		var b bytes.Buffer
		if err := mesh.Encode3MF(&b, p); err == nil {
			t.Errorf("%s: written", name)
		}
		if b.Len() > 0 {
			t.Errorf("%s: %d bytes written before the refusal", name, b.Len())
		}
	}
}

// pack makes a 3MF package round a model's XML.
func pack(model string, more ...string) []byte {
	return packWith(`<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">`+
		`<Relationship Target="/3D/a.model" Id="r" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>`, model, more...)
}

// packWith is pack with relationships of one's own.
func packWith(rels, model string, more ...string) []byte {
	files := append([]string{
		"[Content_Types].xml", `<?xml version="1.0"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">` +
			`<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>` +
			`<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>`,
		"_rels/.rels", rels, "3D/a.model", model}, more...)
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for i := 0; i < len(files); i += 2 {
		w, err := z.Create(files[i])
		if err == nil {
			_, err = io.WriteString(w, files[i+1])
		}
		if err != nil {
			panic(err) // writing to memory
		}
	}
	if err := z.Close(); err != nil {
		panic(err)
	}
	return b.Bytes()
}

// inUTF16 returns a text in UTF-16.
func inUTF16(order binary.AppendByteOrder, text string) string {
	var out []byte
	for _, v := range utf16.Encode([]rune(text)) {
		out = order.AppendUint16(out, v)
	}
	return string(out)
}

// A package in UTF-16, of either order of bytes and with a mark or without, is read as
// the same in UTF-8.
func TestDecode3MFOfUTF16(t *testing.T) {
	model := strings.Replace(model3MF(``, `<metadata name="Title">Dach 🏠 rund</metadata><object id="1" name="Träger 𝛼">`+tetra+`</object>`, `<item objectid="1"/>`), "UTF-8", "UTF-16", 1)
	model = strings.Replace(model, `<resources><metadata name="Title">Dach 🏠 rund</metadata>`, `<metadata name="Title">Dach 🏠 rund</metadata><resources>`, 1)
	want, err := mesh.Decode3MF("a.3mf", pack(strings.Replace(model, "UTF-16", "UTF-8", 1)))
	if err != nil {
		t.Fatal(err)
	}
	rels := `<?xml version="1.0" encoding="UTF-16"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">` +
		`<Relationship Target="/3D/a.model" Id="r" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>`
	for name, order := range map[string]binary.AppendByteOrder{"little end first": binary.LittleEndian, "big end first": binary.BigEndian} {
		for _, mark := range []string{"", "\uFEFF"} {
			got, err := mesh.Decode3MF("a.3mf", packWith(inUTF16(order, mark+rels), inUTF16(order, mark+model)))
			if err != nil {
				t.Errorf("%s, mark %q: %v", name, mark, err)
				continue
			}
			if d := cmp.Diff(want, got); d != "" {
				t.Errorf("%s, mark %q (-want +got):\n%s", name, mark, d)
			}
		}
	}
	if want.Bodies[0].Name != "Träger 𝛼" {
		t.Errorf("the body is called %q", want.Bodies[0].Name)
	}
}

// tetra is a mesh element: right-angled, legs 6 long, volume 36 cubed units.
const tetra = `<mesh><vertices><vertex x="0" y="0" z="0"/><vertex x="6" y="0" z="0"/><vertex x="0" y="6" z="0"/><vertex x="0" y="0" z="6"/></vertices>` +
	`<triangles><triangle v1="0" v2="2" v3="1"/><triangle v1="0" v2="1" v3="3"/><triangle v1="1" v2="2" v3="3"/><triangle v1="2" v2="0" v3="3"/></triangles></mesh>`

func model3MF(attrs, resources, build string) string {
	return `<?xml version="1.0" encoding="UTF-8"?><model xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02" ` + attrs +
		`><resources>` + resources + `</resources><build>` + build + `</build></model>`
}

// production declares the extension that spreads a model over files.
const production = `xmlns:p="http://schemas.microsoft.com/3dmanufacturing/production/2015/06" requiredextensions="p"`

func object(id int, body string) string { return fmt.Sprintf(`<object id="%d">%s</object>`, id, body) }

func Test3MFTransformsAndUnits(t *testing.T) {
	one := object(1, tetra)
	box := func(x0, y0, z0, x1, y1, z1 float64) r3.Box {
		return r3.Box{Min: r3.Vec{X: x0, Y: y0, Z: z0}, Max: r3.Vec{X: x1, Y: y1, Z: z1}}
	}
	for _, c := range []struct {
		name, model string
		want        []r3.Box
		volume      float64 // of each
	}{
		{"plain", model3MF(``, one, `<item objectid="1"/>`), []r3.Box{box(0, 0, 0, 6, 6, 6)}, 36},
		{"inch", model3MF(`unit="inch"`, one, `<item objectid="1"/>`), []r3.Box{box(0, 0, 0, 152.4, 152.4, 152.4)}, 36 * 25.4 * 25.4 * 25.4},
		{"centimetre", model3MF(`unit="centimeter"`, one, `<item objectid="1" transform="1 0 0 0 1 0 0 0 1 2 0 0"/>`),
			[]r3.Box{box(20, 0, 0, 80, 60, 60)}, 36000},
		{"moved and turned", model3MF(``, one, `<item objectid="1" transform="0 1 0 -1 0 0 0 0 1 10 20 0"/>`), []r3.Box{box(4, 20, 0, 10, 26, 6)}, 36},
		{"mirrored", model3MF(``, one, `<item objectid="1" transform="-1 0 0 0 1 0 0 0 1 0 0 0"/>`), []r3.Box{box(-6, 0, 0, 0, 6, 6)}, 36},
		// Components apply before the item that holds them: first scaled, then moved.
		{"components", model3MF(``, one+object(2, `<components><component objectid="1"/><component objectid="1" transform="1 0 0 0 1 0 0 0 1 10 0 0"/></components>`),
			`<item objectid="2" transform="2 0 0 0 2 0 0 0 2 1 1 1"/>`), []r3.Box{box(1, 1, 1, 13, 13, 13), box(21, 1, 1, 33, 13, 13)}, 288},
		{"built twice", model3MF(``, one, `<item objectid="1"/><item objectid="1" transform="1 0 0 0 1 0 0 0 1 0 0 9"/>`),
			[]r3.Box{box(0, 0, 0, 6, 6, 6), box(0, 0, 9, 6, 6, 15)}, 36},
		{"solidsupport kept, support left out", model3MF(``, one+`<object id="2" type="solidsupport">`+tetra+`</object><object id="3" type="support">`+tetra+`</object>`,
			`<item objectid="1"/><item objectid="2"/><item objectid="3"/>`), []r3.Box{box(0, 0, 0, 6, 6, 6), box(0, 0, 0, 6, 6, 6)}, 36},
		{"a body without areas", model3MF(``, one+object(2, strings.NewReplacer(`v2="2"`, `v2="0"`, `v2="1" v3="3"`, `v2="0" v3="3"`, `v2="0" v3="3"`, `v2="2" v3="3"`, `v1="1" v2="2"`, `v1="2" v2="2"`).Replace(tetra)), `<item objectid="1"/><item objectid="2"/>`),
			[]r3.Box{box(0, 0, 0, 6, 6, 6)}, 36},
		{"not built", model3MF(``, one+object(2, tetra), `<item objectid="2"/>`), []r3.Box{box(0, 0, 0, 6, 6, 6)}, 36},
		{"harmless extension", model3MF(`xmlns:p="http://schemas.microsoft.com/3dmanufacturing/production/2015/06" requiredextensions="p"`, one, `<item objectid="1" p:UUID="a"/>`),
			[]r3.Box{box(0, 0, 0, 6, 6, 6)}, 36},
	} {
		doc, err := mesh.Decode3MF(c.name, pack(c.model))
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if len(doc.Bodies) != len(c.want) {
			t.Errorf("%s: %d bodies", c.name, len(doc.Bodies))
			continue
		}
		for i, b := range doc.Bodies {
			got := b.Mesh.Bounds()
			if r3.Norm2(r3.Sub(got.Min, c.want[i].Min))+r3.Norm2(r3.Sub(got.Max, c.want[i].Max)) > 1e-9 {
				t.Errorf("%s: body %d spans %v, want %v", c.name, i, got, c.want[i])
			}
			near(t, c.name, b.Mesh.Volume(), c.volume)
			// 3MF Core Specification 1.4, chapter 4: objects have a type.
			if want := i == 1 && strings.HasPrefix(c.name, "solidsupport"); b.Support != want {
				t.Errorf("%s: body %d is declared a support: %v", c.name, i, b.Support)
			}
		}
	}
}

func Test3MFErrors(t *testing.T) {
	good := encode3MF(t, baked(t))
	one := object(1, tetra)
	built := `<item objectid="1"/>`
	broken := func(old, new string) []byte {
		return pack(model3MF(``, object(1, strings.Replace(tetra, old, new, 1)), built))
	}
	chain := one
	for i := 2; i < 200; i++ {
		chain += object(i, fmt.Sprintf(`<components><component objectid="%d"/></components>`, i-1))
	}
	doubling := one
	for i := 2; i < 60; i++ {
		doubling += object(i, fmt.Sprintf(`<components><component objectid="%d"/><component objectid="%d"/></components>`, i-1, i-1))
	}
	var bomb bytes.Buffer
	z := zip.NewWriter(&bomb)
	if w, err := z.CreateRaw(&zip.FileHeader{Name: "3D/a.model", UncompressedSize64: 1 << 40}); err != nil || w == nil {
		t.Fatal(err)
	}
	z.Close()

	for _, c := range []struct {
		name string
		data []byte
		want string
		as   any
	}{
		{"empty", nil, "the file is empty", new(*mesh.FormatError)},
		{"STL", encode(t, cube, "cube"), "ZIP", new(*mesh.FormatError)},
		{"cut short", good[:len(good)/2], "cut short or damaged", new(*mesh.FormatError)},
		{"plain ZIP", func() []byte { var b bytes.Buffer; z := zip.NewWriter(&b); z.Create("a"); z.Close(); return b.Bytes() }(), "[Content_Types].xml: missing", new(*mesh.FormatError)},
		{"no items", pack(model3MF(``, one, ``)), "no triangles", new(*mesh.FormatError)},
		{"NaN", broken(`x="6"`, `x="NaN"`), "object 1, vertex 1|not finite", new(*mesh.FormatError)},
		{"infinite", broken(`x="6"`, `x="INF"`), "object 1, vertex 1|not finite", new(*mesh.FormatError)},
		{"not a number", broken(`x="6"`, `x="six"`), "x", new(*mesh.FormatError)},
		{"index past the end", broken(`v3="1"`, `v3="4"`), "object 1, triangle 0|vertex 4, but there are only 4", new(*mesh.FormatError)},
		{"missing object", pack(model3MF(``, one, `<item objectid="7"/>`)), "build item 1|object 7", new(*mesh.FormatError)},
		{"missing component", pack(model3MF(``, one+object(2, `<components><component objectid="9"/></components>`), `<item objectid="2"/>`)), "object 2, component 1|object 9", new(*mesh.FormatError)},
		{"circle", pack(model3MF(``, object(1, `<components><component objectid="2"/></components>`)+object(2, `<components><component objectid="1"/></components>`), built)), "circle", new(*mesh.FormatError)},
		{"long chain", pack(model3MF(``, chain, `<item objectid="199"/>`)), "deeper than 64", new(*mesh.FormatError)},
		{"doubling", pack(model3MF(``, doubling, `<item objectid="59"/>`)), "a million components", new(*mesh.UnsupportedError)},
		{"same id twice", pack(model3MF(``, one+one, built)), "repeats the id 1", new(*mesh.FormatError)},
		{"no id", pack(model3MF(``, `<object>`+tetra+`</object>`, built)), "no id", new(*mesh.FormatError)},
		{"no mesh", pack(model3MF(``, object(1, ``), built)), "neither triangles nor components", new(*mesh.FormatError)},
		{"flattening", pack(model3MF(``, one, `<item objectid="1" transform="1 0 0 0 1 0 0 0 0 0 0 0"/>`)), "flattens object 1", new(*mesh.FormatError)},
		{"transform not finite", pack(model3MF(``, one, `<item objectid="1" transform="1 0 0 0 1 0 0 0 NaN 0 0 0"/>`)), "not finite", new(*mesh.FormatError)},
		{"other built", pack(model3MF(``, `<object id="1" type="other">`+tetra+`</object>`, built)), "type other", new(*mesh.FormatError)},
		{"extension", pack(model3MF(`xmlns:b="urn:beams" requiredextensions="b"`, one, built)), `extension "b" (urn:beams)`, new(*mesh.UnsupportedError)},
		{"undeclared extension", pack(model3MF(`requiredextensions="xxx"`, one, built)), `extension "xxx"`, new(*mesh.UnsupportedError)},
		{"a part of the model is missing", pack(model3MF(production, `<object id="2"><components><component objectid="1" p:path="/3D/b.model"/></components></object>`, `<item objectid="2"/>`)),
			"3D/b.model|is missing", new(*mesh.FormatError)},
		{"two models", pack(model3MF(``, one, built), "_rels/second.rels", "", "3D/A.MODEL", ""), "two files of this name", new(*mesh.FormatError)},
		{"a name that leads out", pack(model3MF(``, one, built), "../../etc/cron.d/a", "x"), "leads out", new(*mesh.FormatError)},
		{"a name from the root", pack(model3MF(``, one, built), "/etc/a", "x"), "leads out", new(*mesh.FormatError)},
		{"a name with backslashes", pack(model3MF(``, one, built), `..\..\a`, "x"), "leads out", new(*mesh.FormatError)},
		{"index of 2³¹", broken(`v3="1"`, `v3="2147483648"`), "object 1, triangle 0|2147483648", new(*mesh.FormatError)},
		{"index of 2⁶⁴", broken(`v3="1"`, `v3="18446744073709551617"`), "object 1, triangle 0", new(*mesh.FormatError)},
		{"negative index", broken(`v3="1"`, `v3="-1"`), "object 1, triangle 0", new(*mesh.FormatError)},
		{"id of 2³¹", pack(model3MF(``, one, `<item objectid="2147483648"/>`)), "build item 1", new(*mesh.FormatError)},
		{"beyond float32", broken(`x="6"`, `x="1e39"`), "object 1, vertex 1|not finite", new(*mesh.FormatError)},
		{"hexadecimal", broken(`x="6"`, `x="0x6"`), "no number", new(*mesh.FormatError)},
		{"unit of ells", pack(model3MF(`unit="ell"`, one, built)), `unit "ell"`, new(*mesh.FormatError)},
		{"type of chalk", pack(model3MF(``, `<object id="1" type="chalk">`+tetra+`</object>`, built)), `type "chalk"`, new(*mesh.FormatError)},
		{"transform of 11 numbers", pack(model3MF(``, one, `<item objectid="1" transform="1 0 0 0 1 0 0 0 1 0 0"/>`)), "11 numbers", new(*mesh.FormatError)},
		{"entities", pack(`<?xml version="1.0"?><!DOCTYPE m [<!ENTITY a "b">]>` + model3MF(``, one, built)), "document type", new(*mesh.FormatError)},
		{"half a character of UTF-16", pack(inUTF16(binary.LittleEndian, "\uFEFF"+model3MF(``, one, built)) + "\x00"), "UTF-16", new(*mesh.FormatError)},
		{"half a pair of UTF-16", pack(inUTF16(binary.LittleEndian, "\uFEFF<!--") + "\x00\xD8-\x00"), "UTF-16", new(*mesh.FormatError)},
		{"two roots", pack(model3MF(``, one, built) + "<model/>"), "more follows", new(*mesh.FormatError)},
		{"crossed tags", pack(model3MF(``, `<object id="1"><mesh></object></mesh>`, built)), "closes what is not open", new(*mesh.FormatError)},
		{"deep XML", pack(model3MF(``, strings.Repeat("<a>", 1000), built)), "nest deeper", new(*mesh.FormatError)},
		{"an endless tag", pack(model3MF(``, `<object name="`+strings.Repeat("a", 3<<20), built)), "no end", new(*mesh.FormatError)},
		{"a lattice", pack(model3MF(`xmlns:b="http://schemas.microsoft.com/3dmanufacturing/beamlattice/2017/02" requiredextensions="b"`,
			object(1, strings.Replace(tetra, `</mesh>`, `<b:beamlattice/></mesh>`, 1)), built)), "lattice of beams", new(*mesh.UnsupportedError)},
		{"slices", pack(model3MF(`xmlns:s="http://schemas.microsoft.com/3dmanufacturing/slice/2015/07" requiredextensions="s"`,
			`<object id="1" s:meshresolution="lowres">`+tetra+`</object>`, built)), "stand-in for slices", new(*mesh.UnsupportedError)},
		{"packed too well", pack(model3MF(``, one, built) + strings.Repeat(" ", 65<<20)), "as no model does", new(*mesh.UnsupportedError)},
		{"metres", pack(model3MF(`unit="meter"`, one, built)), "6000 × 6000 × 6000 mm", new(*mesh.SizeError)},
		{"unpacks to a terabyte", bomb.Bytes(), "unpacks to more than", new(*mesh.UnsupportedError)},
		{"broken XML", pack(model3MF(``, one, built)[:300]), "", new(*mesh.FormatError)},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := mesh.Decode3MF("part.3mf", c.data)
			if err == nil {
				t.Fatal("accepted")
			}
			for _, w := range strings.Split(c.want, "|") {
				if !strings.Contains(err.Error(), w) {
					t.Errorf("%q lacks %q", err, w)
				}
			}
			if !errors.As(err, c.as) {
				t.Errorf("%T is not a %T: %v", err, c.as, err)
			}
			if !strings.HasPrefix(err.Error(), "part.3mf: ") || strings.Contains(err.Error(), "\n") {
				t.Errorf("%q is not one line that begins with the file", err)
			}
		})
	}
}

// FALSEWORK_MODELS may name a folder of real STL and 3MF files: each must be
// read or refused with an error of ours, and what is read must be sound.
func TestRealModels(t *testing.T) {
	dir := os.Getenv("FALSEWORK_MODELS")
	if dir == "" {
		t.Skip("set FALSEWORK_MODELS to a folder of STL and 3MF files")
	}
	err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		var meshes []*mesh.Mesh
		switch strings.ToLower(filepath.Ext(path)) {
		case ".stl":
			m, notes, e := mesh.ReadSTL(path)
			if err = e; e == nil {
				t.Logf("%s: %+v %+v", path, notes, m.Topology())
				meshes = append(meshes, m)
			}
		case ".3mf":
			doc, e := mesh.Read3MF(path)
			err = e
			for _, b := range doc.Bodies {
				meshes = append(meshes, b.Mesh)
			}
		}
		var format *mesh.FormatError
		var unsupported *mesh.UnsupportedError
		var size *mesh.SizeError
		if err != nil {
			t.Log(err)
			if !errors.As(err, &format) && !errors.As(err, &unsupported) && !errors.As(err, &size) {
				t.Errorf("%s: %T", path, err)
			}
		}
		for _, m := range meshes {
			if err := m.Check(); err != nil {
				t.Errorf("%s: %v", path, err)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}
