package mesh

import (
	"archive/zip"
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/hpinc/go3mf"
	"gonum.org/v1/gonum/spatial/r3"
)

// A Body is a named solid.
type Body struct {
	Name string
	Mesh *Mesh
	// Support tells that the file it was read from declares it a support, by the
	// object type solidsupport. It is not written: see Encode3MF.
	Support bool
}

// A Package is what one 3MF file holds: a part and the supports that belong to
// it, all in one frame, in mm. Texts may be empty.
type Package struct {
	Title, Designer, Description, License, Application string

	Created   string // a date as the designer wants it; empty keeps the bytes free of time
	Part      Body
	Supports  []Body // those without triangles are not written
	Thumbnail []byte // PNG
}

const (
	thumbnailPath = "/Metadata/thumbnail.png"
	pngType       = "image/png"
	pngMagic      = "\x89PNG\r\n\x1a\n"
)

// Encode3MF writes p as a 3MF package in millimetres. The part and each support
// are objects of type model, since readers may replace or ignore the two
// support types; with supports, one more object assembles them all, and the
// only build item points at it (3MF Core Specification 1.4, chapter 4). The
// item is moved into the positive octant, the vertices are not touched.
// Coordinates are rounded to float32 and written so that they read back as the
// same float32. The same package gives the same bytes.
//
// It returns an error when the part has no triangles, a mesh fails Check or
// names a vertex twice in one triangle, the thumbnail is no PNG, or w fails.
func Encode3MF(w io.Writer, p Package) error {
	model := &go3mf.Model{Units: go3mf.UnitMillimeter, Language: "en-US"}
	var texts string // all of them, to see what has to be escaped
	for _, m := range []struct{ name, value string }{
		{"Title", p.Title}, {"Designer", p.Designer}, {"Description", p.Description},
		{"LicenseTerms", p.License}, {"CreationDate", p.Created}, {"Application", p.Application},
	} {
		if m.value != "" {
			value := strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(m.value)
			model.Metadata = append(model.Metadata, go3mf.Metadata{Name: xml.Name{Local: m.name}, Value: value})
			texts += value
		}
	}
	// Named here because the library would number them by the order of writing.
	model.RootRelationships = []go3mf.Relationship{{ID: "rel0", Type: go3mf.RelType3DModel, Path: go3mf.DefaultModelPath}}
	if len(p.Thumbnail) > 0 {
		if !bytes.HasPrefix(p.Thumbnail, []byte(pngMagic)) {
			return errors.New("writing 3MF: the thumbnail is not a PNG picture")
		}
		model.Attachments = []go3mf.Attachment{{Stream: bytes.NewReader(p.Thumbnail), Path: thumbnailPath, ContentType: pngType}}
		model.RootRelationships = append(model.RootRelationships,
			go3mf.Relationship{ID: "rel1", Type: go3mf.RelTypeThumbnail, Path: thumbnailPath})
	}

	if p.Part.Mesh == nil || len(p.Part.Mesh.Triangles) == 0 {
		return errors.New("writing 3MF: the part has no triangles")
	}
	assembly := &go3mf.Object{Name: oneLineName(p.Title), Components: &go3mf.Components{}}
	lo := p.Part.Mesh.Bounds().Min
	for i, b := range append([]Body{p.Part}, p.Supports...) {
		if b.Mesh == nil || len(b.Mesh.Triangles) == 0 {
			continue
		}
		mesh, err := toGo3mf(b.Mesh)
		if err != nil {
			return fmt.Errorf("writing 3MF: body %d (%s): %w", i, b.Name, err)
		}
		id := uint32(len(model.Resources.Objects) + 1)
		model.Resources.Objects = append(model.Resources.Objects, &go3mf.Object{ID: id, Name: oneLineName(b.Name), Mesh: mesh})
		texts += b.Name
		assembly.Components.Component = append(assembly.Components.Component, &go3mf.Component{ObjectID: id})
		m := b.Mesh.Bounds().Min
		lo = r3.Vec{X: min(lo.X, m.X), Y: min(lo.Y, m.Y), Z: min(lo.Z, m.Z)}
	}
	item := &go3mf.Item{ObjectID: 1, Transform: go3mf.Identity()}
	if n := len(model.Resources.Objects); n > 1 {
		assembly.ID = uint32(n + 1)
		item.ObjectID = assembly.ID
		model.Resources.Objects = append(model.Resources.Objects, assembly)
	}
	// The library writes matrices with three decimals. Whole millimetres sideways
	// keep the frame easy to recover; upward the item moves no more than it must,
	// since it stands on the plate.
	item.Transform = item.Transform.Translate(
		float32(math.Ceil(max(0, -lo.X))),
		float32(math.Ceil(max(0, -lo.Y))),
		float32(math.Ceil(max(0, -lo.Z)*1000)/1000))
	model.Build.Items = []*go3mf.Item{item}

	var raw bytes.Buffer
	enc := go3mf.NewEncoder(&raw)
	enc.FloatPrecision = -1 // as many digits as the float32 needs
	if err := enc.Encode(model); err != nil {
		return fmt.Errorf("writing 3MF: %w", err)
	}
	if err := repack(w, raw.Bytes(), strings.ContainsAny(texts, "'\"\t\n")); err != nil {
		return fmt.Errorf("writing 3MF: %w", err)
	}
	return nil
}

func toGo3mf(m *Mesh) (*go3mf.Mesh, error) {
	if err := m.Check(); err != nil {
		return nil, err
	}
	out := &go3mf.Mesh{}
	out.Vertices.Vertex = make([]go3mf.Point3D, len(m.Vertices))
	for i, v := range m.Vertices {
		p := toPoint32(v)
		for k, x := range p {
			if x-x != 0 {
				return nil, fmt.Errorf("vertex %d is too far out for float32", i)
			}
			if x == 0 {
				p[k] = 0
			}
		}
		out.Vertices.Vertex[i] = go3mf.Point3D(p)
	}
	out.Triangles.Triangle = make([]go3mf.Triangle, len(m.Triangles))
	for i, t := range m.Triangles {
		if repeats(t) {
			return nil, fmt.Errorf("triangle %d names a vertex twice", i)
		}
		out.Triangles.Triangle[i] = go3mf.Triangle{V1: t[0], V2: t[1], V3: t[2]}
	}
	return out, nil
}

// packageTime stands in every file of a package: the first instant a ZIP
// archive can express.
var packageTime = time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC)

// oneLineName makes a name fit for an XML attribute.
func oneLineName(s string) string { return strings.Join(strings.Fields(s), " ") }

// repack copies a package with what varies from run to run set straight: the
// library stamps every file with the clock and lists content types in the order
// of a map. With escapes, character references in the model are put another
// way too: encoding/xml writes numbers, which readers built on lib3mf 1.x refuse.
func repack(w io.Writer, raw []byte, escapes bool) error {
	in, err := zip.NewReader(bytes.NewReader(raw), int64(len(raw)))
	if err != nil {
		return err
	}
	out := zip.NewWriter(w)
	for _, f := range in.File {
		switch {
		case f.Name == "[Content_Types].xml":
			err = rewrite(out, f, sortContentTypes)
		case escapes && f.Name == strings.TrimPrefix(go3mf.DefaultModelPath, "/"):
			err = rewrite(out, f, strings.NewReplacer("&#34;", "&quot;", "&#39;", "'", "&#x9;", "\t", "&#xA;", "\n").Replace)
		default:
			err = copyRaw(out, f)
		}
		if err != nil {
			return err
		}
	}
	return out.Close()
}

// copyRaw copies a file without unpacking it.
func copyRaw(out *zip.Writer, f *zip.File) error {
	h := f.FileHeader
	h.ModifiedDate, h.ModifiedTime = dosTime(packageTime)
	h.Extra = nil // a second timestamp
	from, err := f.OpenRaw()
	if err != nil {
		return err
	}
	to, err := out.CreateRaw(&h)
	if err != nil {
		return err
	}
	_, err = io.Copy(to, from)
	return err
}

func rewrite(out *zip.Writer, f *zip.File, edit func(string) string) error {
	r, err := f.Open()
	if err != nil {
		return err
	}
	defer r.Close()
	text, err := io.ReadAll(r)
	if err != nil {
		return err
	}
	to, err := out.CreateHeader(&zip.FileHeader{Name: f.Name, Method: zip.Deflate, Modified: packageTime})
	if err != nil {
		return err
	}
	_, err = io.WriteString(to, edit(string(text)))
	return err
}

// sortContentTypes sorts the elements of the list, which stand one on a line
// between the two lines that open the document and the one that ends it.
func sortContentTypes(text string) string {
	lines := strings.Split(strings.TrimSpace(text), "\n")
	if len(lines) > 3 {
		slices.Sort(lines[2 : len(lines)-1])
	}
	return strings.Join(lines, "\n") + "\n"
}

// dosTime splits a time as ZIP headers store it.
func dosTime(t time.Time) (date, clock uint16) {
	return uint16(t.Day() + int(t.Month())<<5 + (t.Year()-1980)<<9),
		uint16(t.Second()/2 + t.Minute()<<5 + t.Hour()<<11)
}

// A Document is what a 3MF file holds, in mm, with all transforms applied.
type Document struct {
	Title, Designer, Description, License, Application, Created string

	Bodies    []Body // one for each time the build reaches a mesh, in build order
	Thumbnail []byte // PNG or JPEG of the package; nil without one
	Notes     Notes
}

const (
	// MaxUnpacked bounds what a package may unpack to, in bytes: about 20 million
	// triangles' worth of XML.
	MaxUnpacked = 2 << 30
	// maxEntries bounds the files in a package.
	maxEntries = 10_000
	// maxDepth bounds how deep components may refer to components.
	maxDepth = 64
	// maxSmallPart bounds, in bytes, each file of a package that is not a model:
	// the library holds them in memory.
	maxSmallPart = 64 << 20
)

// metadataNames are those of the 3MF Core Specification 1.4, chapter 3.4.1, that
// need no namespace.
var metadataNames = []string{"Title", "Designer", "Description", "Copyright", "LicenseTerms",
	"Rating", "CreationDate", "ModificationDate", "Application"}

// neutralExtensions are those that a model may require without changing the
// solids of a one-file package: they name objects, or colour them.
var neutralExtensions = map[string]bool{
	"http://schemas.microsoft.com/3dmanufacturing/production/2015/06": true,
	"http://schemas.microsoft.com/3dmanufacturing/material/2015/02":   true,
}

// Read3MF reads a 3MF file; see Decode3MF.
func Read3MF(path string) (Document, error) {
	info, err := os.Stat(path)
	if err != nil {
		return Document{}, err
	}
	if !info.Mode().IsRegular() {
		return Document{}, &FormatError{File: path, Problem: "not a regular file", Remedy: "name a 3MF file"}
	}
	if info.Size() > MaxUnpacked {
		return Document{}, &UnsupportedError{File: path,
			Problem: fmt.Sprintf("%d bytes, over the limit of %d", info.Size(), int64(MaxUnpacked)), Remedy: "export it coarser"}
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return Document{}, err
	}
	return Decode3MF(path, data)
}

// Decode3MF reads a 3MF package's bytes; name goes into error messages only.
// It follows the build through components, applies their transforms, and
// converts the model's unit to mm. Objects of type model and solidsupport become
// bodies; surfaces and supports without volume are named in Notes.Skipped.
// Meshes with holes or other defects are not an error here: ask Topology.
//
// Errors are *FormatError (malformed, or no solid in it), *UnsupportedError
// (needs an extension, or too large) and, for the whole build, *SizeError.
func Decode3MF(name string, data []byte) (Document, error) {
	if err := check3MFPackage(name, data); err != nil {
		return Document{}, err
	}
	model, err := decodeModel(name, data)
	if err != nil {
		return Document{}, err
	}
	doc := Document{Notes: Notes{Format: "3MF"}}
	for _, m := range model.Metadata {
		if m.Name.Space != "" {
			continue
		}
		if !slices.Contains(metadataNames, m.Name.Local) {
			doc.Notes.Skipped = append(doc.Notes.Skipped, fmt.Sprintf("metadata %q, which the specification does not know", m.Name.Local))
		}
		for _, known := range []struct {
			name string
			to   *string
		}{
			{"Title", &doc.Title}, {"Designer", &doc.Designer}, {"Description", &doc.Description},
			{"LicenseTerms", &doc.License}, {"Application", &doc.Application}, {"CreationDate", &doc.Created},
		} {
			if m.Name.Local == known.name {
				*known.to = m.Value
			}
		}
	}
	if err := checkExtensions(name, data, model.Path); err != nil {
		return Document{}, err
	}
	for _, r := range model.RootRelationships {
		if r.Type == go3mf.RelTypeThumbnail {
			for _, a := range model.Attachments {
				if strings.EqualFold(a.Path, r.Path) && a.Stream != nil {
					if doc.Thumbnail, err = io.ReadAll(a.Stream); err != nil {
						return Document{}, &FormatError{File: name, Where: a.Path, Problem: "the thumbnail cannot be unpacked", Err: err}
					}
				}
			}
		}
	}
	r := modelReader{file: name, doc: &doc, objects: make(map[uint32]*go3mf.Object), scale: millimetres(model.Units)}
	for i, o := range model.Resources.Objects {
		if o.ID == 0 {
			return Document{}, r.malformed(i, "has no id")
		}
		if _, twice := r.objects[o.ID]; twice {
			return Document{}, r.malformed(i, fmt.Sprintf("repeats the id %d", o.ID))
		}
		r.objects[o.ID] = o
	}
	for i, item := range model.Build.Items {
		if err := r.place(fmt.Sprintf("build item %d", i+1), item.ObjectID, affineOf(item.Transform), 0); err != nil {
			return Document{}, err
		}
	}
	if err := check3MFBuild(name, &doc); err != nil {
		return Document{}, err
	}
	return doc, nil
}

// check3MFBuild judges all bodies together: one of them may well be flat or small.
func check3MFBuild(name string, doc *Document) error {
	var all Mesh
	for _, b := range doc.Bodies {
		all.Append(b.Mesh)
	}
	notes := doc.Notes
	if err := checkSolid(name, &all, &notes); err != nil {
		return err
	}
	if notes.InsideOut {
		doc.Notes.InsideOut = true
		for _, b := range doc.Bodies {
			b.Mesh.turn()
		}
	}
	return nil
}

// check3MFPackage refuses archives that would be costly or unsafe to unpack,
// and models spread over several files, whose library code runs where a panic
// cannot be caught.
func check3MFPackage(name string, data []byte) error {
	const again = "export or download it again"
	if len(data) == 0 {
		return &FormatError{File: name, Problem: "the file is empty", Remedy: "export the part as 3MF"}
	}
	if !bytes.HasPrefix(data, []byte("PK")) {
		return &FormatError{File: name, Where: "byte 0", Problem: "not 3MF: it does not begin as a ZIP archive does",
			Remedy: "export the part as 3MF"}
	}
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return &FormatError{File: name, Where: fmt.Sprintf("byte %d", len(data)),
			Problem: "the ZIP archive has no readable directory at its end; it is cut short or damaged", Remedy: again, Err: err}
	}
	if len(z.File) > maxEntries {
		return &UnsupportedError{File: name, Problem: fmt.Sprintf("%d files in the package, over the limit of %d", len(z.File), maxEntries)}
	}
	var total uint64
	hasTypes := false
	for _, f := range z.File {
		hasTypes = hasTypes || strings.EqualFold(f.Name, "[Content_Types].xml")
		model := strings.HasSuffix(strings.ToLower(f.Name), ".model")
		if !model && f.UncompressedSize64 > maxSmallPart {
			return &UnsupportedError{File: name, Where: f.Name, Problem: fmt.Sprintf("unpacks to %d bytes, over the limit of %d", f.UncompressedSize64, maxSmallPart)}
		}
		// A part's reader stops at the size that its header states.
		if f.UncompressedSize64 > MaxUnpacked || total+f.UncompressedSize64 > MaxUnpacked {
			return &UnsupportedError{File: name, Where: f.Name, Problem: fmt.Sprintf("the package unpacks to more than %d bytes", int64(MaxUnpacked))}
		}
		total += f.UncompressedSize64
	}
	if !hasTypes {
		return &FormatError{File: name, Where: "[Content_Types].xml", Problem: "missing, so this ZIP archive is no 3MF package",
			Remedy: "export the part as 3MF"}
	}
	for _, f := range z.File {
		lower := strings.ToLower(f.Name)
		if !strings.HasSuffix(lower, ".rels") || lower == "_rels/.rels" {
			continue
		}
		models, err := modelRelationships(f)
		if err != nil {
			return &FormatError{File: name, Where: f.Name, Problem: "the relationships cannot be read", Remedy: again, Err: err}
		}
		if models > 0 {
			return &UnsupportedError{File: name, Where: f.Name, Problem: "the model is spread over several files (production extension)",
				Remedy: "export it as plain 3MF, or as STL"}
		}
	}
	return nil
}

// checkExtensions refuses a model that requires an extension by which its solids
// may be others than its meshes. It reads the model's first tag itself, because
// the library forgets requirements that the tag does not declare.
func checkExtensions(name string, data []byte, path string) error {
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return &FormatError{File: name, Problem: "the ZIP archive cannot be read", Err: err}
	}
	malformed := func(err error) error {
		return &FormatError{File: name, Where: path, Problem: "the model cannot be read", Remedy: "export it again", Err: err}
	}
	f, err := z.Open(strings.TrimPrefix(path, "/"))
	if err != nil {
		return malformed(err)
	}
	defer f.Close()
	for d := xml.NewDecoder(f); ; {
		token, err := d.RawToken()
		if err != nil {
			return malformed(err)
		}
		tag, ok := token.(xml.StartElement)
		if !ok {
			continue
		}
		declared := make(map[string]string)
		var required []string
		for _, a := range tag.Attr {
			switch {
			case a.Name.Space == "xmlns":
				declared[a.Name.Local] = a.Value
			case a.Name.Space == "" && a.Name.Local == "requiredextensions":
				required = strings.Fields(a.Value)
			}
		}
		for _, prefix := range required {
			if space := declared[prefix]; !neutralExtensions[space] {
				return &UnsupportedError{File: name, Where: path,
					Problem: fmt.Sprintf("the model requires the extension %q (%s)", prefix, space),
					Remedy:  "export it as plain 3MF, or as STL"}
			}
		}
		return nil
	}
}

// modelRelationships counts the further models that a relationships file points at.
func modelRelationships(f *zip.File) (int, error) {
	r, err := f.Open()
	if err != nil {
		return 0, err
	}
	defer r.Close()
	var rels struct {
		Relationship []struct {
			Type string `xml:",attr"`
		}
	}
	if err := xml.NewDecoder(r).Decode(&rels); err != nil {
		return 0, err
	}
	n := 0
	for _, rel := range rels.Relationship {
		if rel.Type == go3mf.RelType3DModel {
			n++
		}
	}
	return n, nil
}

// decodeModel runs the library, turning its errors, and panics that damaged
// files may cause in it, into errors of ours.
func decodeModel(name string, data []byte) (model *go3mf.Model, err error) {
	defer func() {
		if p := recover(); p != nil {
			model, err = nil, &FormatError{File: name, Problem: fmt.Sprintf("the package is malformed (%v)", p), Remedy: "export it again"}
		}
	}()
	model = new(go3mf.Model)
	if err := go3mf.NewDecoder(bytes.NewReader(data), int64(len(data))).Decode(model); err != nil {
		return nil, &FormatError{File: name, Where: "3D model", Problem: firstLine(err), Remedy: "export it again", Err: err}
	}
	return model, nil
}

// millimetres is the length of a unit, by definition (3MF Core Specification
// 1.4, chapter 3.4; the inch is 25.4 mm).
func millimetres(u go3mf.Units) float64 {
	switch u {
	case go3mf.UnitMicrometer:
		return 0.001
	case go3mf.UnitCentimeter:
		return 10
	case go3mf.UnitInch:
		return 25.4
	case go3mf.UnitFoot:
		return 304.8
	case go3mf.UnitMeter:
		return 1000
	}
	return 1
}

// affine holds the images of the three axes and of the origin.
type affine [4]r3.Vec

func affineOf(m go3mf.Matrix) affine {
	if m == (go3mf.Matrix{}) {
		m = go3mf.Identity() // the library's zero value stands for no transform
	}
	row := func(i int) r3.Vec {
		return r3.Vec{X: float64(m[4*i]), Y: float64(m[4*i+1]), Z: float64(m[4*i+2])}
	}
	return affine{row(0), row(1), row(2), row(3)}
}

func (a affine) linear(v r3.Vec) r3.Vec {
	return r3.Add(r3.Scale(v.X, a[0]), r3.Add(r3.Scale(v.Y, a[1]), r3.Scale(v.Z, a[2])))
}

func (a affine) apply(v r3.Vec) r3.Vec { return r3.Add(a.linear(v), a[3]) }

// after returns the transform that applies b first.
func (a affine) after(b affine) affine {
	return affine{a.linear(b[0]), a.linear(b[1]), a.linear(b[2]), a.apply(b[3])}
}

func (a affine) determinant() float64 { return r3.Dot(a[0], r3.Cross(a[1], a[2])) }

// modelReader walks from the build down to the meshes.
type modelReader struct {
	file    string
	doc     *Document
	objects map[uint32]*go3mf.Object
	scale   float64
	visits  int
}

func (r *modelReader) malformed(object int, problem string) error {
	return &FormatError{File: r.file, Where: fmt.Sprintf("object %d", object+1), Problem: problem, Remedy: "export it again"}
}

// place adds the bodies of an object; from says what refers to it.
func (r *modelReader) place(from string, id uint32, at affine, depth int) error {
	wrong := func(format string, args ...any) error {
		return &FormatError{File: r.file, Where: from, Problem: fmt.Sprintf(format, args...), Remedy: "export it again"}
	}
	o := r.objects[id]
	if o == nil {
		return wrong("refers to object %d, which does not exist", id)
	}
	if depth > maxDepth {
		return wrong("components nest deeper than %d, perhaps in a circle", maxDepth)
	}
	// Components may double at each level, so visits are bounded too.
	if r.visits++; r.visits > 1_000_000 {
		return &UnsupportedError{File: r.file, Where: from, Problem: "more than a million components"}
	}
	if d := at.determinant(); !(math.Abs(d) > 1e-12 && math.Abs(d) < 1e12) {
		return wrong("the transform flattens object %d or is not finite", id)
	}
	if o.Components != nil {
		for i, c := range o.Components.Component {
			where := fmt.Sprintf("object %d, component %d", id, i+1)
			if err := r.place(where, c.ObjectID, at.after(affineOf(c.Transform)), depth+1); err != nil {
				return err
			}
		}
		return nil
	}
	label := fmt.Sprintf("object %d", id)
	if o.Name != "" {
		label += fmt.Sprintf(" (%s)", o.Name)
	}
	switch o.Type {
	case go3mf.ObjectTypeModel, go3mf.ObjectTypeSolidSupport:
	case go3mf.ObjectTypeOther:
		return wrong("the build reaches %s of type other", label)
	default:
		r.doc.Notes.Skipped = append(r.doc.Notes.Skipped, fmt.Sprintf("%s of type %s", label, o.Type))
		return nil
	}
	if o.Mesh == nil || len(o.Mesh.Triangles.Triangle) == 0 {
		return &FormatError{File: r.file, Where: label, Problem: "has neither triangles nor components", Remedy: "export it again"}
	}
	r.doc.Notes.Facets += len(o.Mesh.Triangles.Triangle)
	if r.doc.Notes.Facets > MaxTriangles {
		return tooMany(r.file, int64(r.doc.Notes.Facets))
	}
	m := &Mesh{Vertices: make([]r3.Vec, len(o.Mesh.Vertices.Vertex))}
	for i, p := range o.Mesh.Vertices.Vertex {
		v := r3.Scale(r.scale, at.apply(r3.Vec{X: float64(p[0]), Y: float64(p[1]), Z: float64(p[2])}))
		if s := v.X + v.Y + v.Z; s-s != 0 {
			return &FormatError{File: r.file, Where: fmt.Sprintf("%s, vertex %d", label, i),
				Problem: fmt.Sprintf("the vertex (%g, %g, %g) is not finite", p[0], p[1], p[2]), Remedy: "repair the part or export it again"}
		}
		m.Vertices[i] = v
	}
	n := uint32(len(m.Vertices))
	for i, t := range o.Mesh.Triangles.Triangle {
		v := [3]uint32{t.V1, t.V2, t.V3}
		if max(v[0], v[1], v[2]) >= n {
			return &FormatError{File: r.file, Where: fmt.Sprintf("%s, triangle %d", label, i),
				Problem: fmt.Sprintf("it uses vertex %d, but there are only %d", max(v[0], v[1], v[2]), n), Remedy: "export it again"}
		}
		if repeats(v) {
			r.doc.Notes.Dropped++
			continue
		}
		m.Triangles = append(m.Triangles, v)
	}
	if len(m.Triangles) == 0 {
		r.doc.Notes.Skipped = append(r.doc.Notes.Skipped, label+", whose triangles have no area")
		return nil
	}
	if at.determinant() < 0 {
		m.turn() // a mirror image would face inward
	}
	r.doc.Notes.Names = append(r.doc.Notes.Names, o.Name)
	r.doc.Bodies = append(r.doc.Bodies, Body{Name: o.Name, Mesh: m, Support: o.Type == go3mf.ObjectTypeSolidSupport})
	return nil
}

// turn reverses the direction of every triangle.
func (m *Mesh) turn() {
	for i, t := range m.Triangles {
		m.Triangles[i] = [3]uint32{t[0], t[2], t[1]}
	}
}
