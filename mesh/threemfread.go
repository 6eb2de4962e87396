package mesh

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"
)

// A Document is what a 3MF file holds, in mm, with all transforms applied.
type Document struct {
	Title, Designer, Description, License, Application, Created, Modified string

	Bodies    []Body // one for each time the build reaches a mesh, in build order
	Thumbnail []byte // PNG or JPEG of the package; nil without one
	Notes     Notes
}

const (
	// MaxUnpacked bounds what a package may unpack to, in bytes: about ten million
	// triangles' worth of XML.
	MaxUnpacked = 1 << 30
	// maxRatio bounds how many times larger than packed a file of maxSmallPart or
	// more may be. XML packs to a tenth; DEFLATE goes to a thousandth (RFC 1951: 258
	// bytes in two bits), which nothing but repetition does.
	maxRatio = 200
	// maxPlaced bounds the vertices, and the triangles, that a build may reach:
	// together less than 1 GB.
	maxPlaced = 12 << 20
	// maxEntries bounds the files in a package.
	maxEntries = 10_000
	// maxDepth bounds how deep components may refer to components.
	maxDepth = 64
	// maxSmallPart bounds, in bytes, pictures, and maxRelations the lists of types
	// and relationships, which are held in memory.
	maxSmallPart = 64 << 20
	maxRelations = 4 << 20
	// maxModels bounds the files that one model may be spread over.
	maxModels = 1000
)

// metadataNames are those of the 3MF Core Specification 1.4, chapter 3.4.1, that
// need no namespace.
var metadataNames = []string{"Title", "Designer", "Description", "Copyright", "LicenseTerms",
	"Rating", "CreationDate", "ModificationDate", "Application"}

// harmlessExtensions are those that a model may require: they name objects, spread
// them over files, or colour them. Beam lattices and meshes that only stand in for
// slices are refused where there are any.
var harmlessExtensions = []string{productionSpace, materialSpace, beamSpace, sliceSpace}

// Read3MF reads a 3MF file; see Decode3MF.
func Read3MF(path string) (Document, error) { return read3MF(path, Unit{}) }

func read3MF(path string, unit Unit) (Document, error) {
	f, err := os.Open(path)
	if err != nil {
		return Document{}, err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return Document{}, err
	}
	if !info.Mode().IsRegular() {
		return Document{}, &FormatError{File: path, Problem: "not a regular file", Remedy: "name a 3MF file"}
	}
	return decode3MF(path, f, info.Size(), unit)
}

// Decode3MF reads a 3MF package's bytes; name goes into error messages only.
// It follows the build through components, those of other files of the package
// too, applies their transforms, and converts the model's unit to mm. Objects of
// type model and solidsupport become bodies; surfaces and supports without volume
// are named in Notes.Skipped, as is what breaks rules that do not touch the solids.
// Meshes with holes or other defects are not an error here: ask Topology.
//
// Errors are *FormatError (malformed, or no solid in it), *UnsupportedError
// (needs an extension, or too large) and, for the whole build, *SizeError.
func Decode3MF(name string, data []byte) (Document, error) {
	return decode3MF(name, bytes.NewReader(data), int64(len(data)), Unit{})
}

func decode3MF(name string, data io.ReaderAt, size int64, unit Unit) (Document, error) {
	p, err := open3MF(name, data, size)
	if err != nil {
		return Document{}, err
	}
	root, err := p.root()
	if err != nil {
		return Document{}, err
	}
	r := &modelReader{pack: p, models: map[string]*model3MF{}, unit: unit}
	r.doc.Notes.Format = "3MF"
	main, err := r.load(root.model)
	if err != nil {
		return Document{}, err
	}
	if root.thumbnail != "" {
		if r.doc.Thumbnail, err = r.picture("the package", root.thumbnail); err != nil {
			return Document{}, err
		}
	}
	for i, item := range main.items {
		if err := r.visit(fmt.Sprintf("build item %d", i+1), main, item, identity, 0); err != nil {
			return Document{}, err
		}
	}
	for _, q := range r.placed {
		if err := r.place(q); err != nil {
			return Document{}, err
		}
	}
	if err := check3MFBuild(name, &r.doc); err != nil {
		return Document{}, err
	}
	return r.doc, nil
}

// check3MFBuild judges all bodies together: one of them may well be flat or small.
func check3MFBuild(name string, doc *Document) error {
	all := &Mesh{}
	if len(doc.Bodies) == 1 {
		all = doc.Bodies[0].Mesh
	} else {
		for _, b := range doc.Bodies {
			all.Append(b.Mesh)
		}
	}
	notes := doc.Notes
	if err := checkSolid(name, all, &notes); err != nil {
		return err
	}
	if notes.InsideOut {
		doc.Notes.InsideOut = true
		for _, b := range doc.Bodies {
			if b.Mesh != all { // which was turned
				b.Mesh.turn()
			}
		}
	}
	return nil
}

// package3MF is a ZIP archive that was found fit to unpack.
type package3MF struct {
	name  string
	files map[string]*zip.File // by partName
}

// partName is how names of parts are compared: without case, from the root
// (ECMA-376 part 2, 6.2.2).
func partName(name string) string { return strings.ToLower(strings.TrimPrefix(name, "/")) }

const again = "export or download it again"

// open3MF refuses archives that would be costly or unsafe to unpack.
func open3MF(name string, data io.ReaderAt, size int64) (*package3MF, error) {
	if size == 0 {
		return nil, &FormatError{File: name, Problem: "the file is empty", Remedy: "export the part as 3MF"}
	}
	head := make([]byte, 2)
	if _, err := data.ReadAt(head, 0); err != nil && err != io.EOF {
		return nil, &FormatError{File: name, Where: "byte 0", Problem: "cannot be read", Err: err}
	}
	if string(head) != "PK" {
		return nil, &FormatError{File: name, Where: "byte 0", Problem: "not 3MF: it does not begin as a ZIP archive does",
			Remedy: "export the part as 3MF"}
	}
	z, err := zip.NewReader(data, size)
	if err != nil && !errors.Is(err, zip.ErrInsecurePath) {
		return nil, &FormatError{File: name, Where: fmt.Sprintf("byte %d", size),
			Problem: "the ZIP archive has no readable directory at its end; it is cut short or damaged", Remedy: again, Err: err}
	}
	if len(z.File) > maxEntries {
		return nil, &UnsupportedError{File: name, Problem: fmt.Sprintf("%d files in the package, over the limit of %d", len(z.File), maxEntries)}
	}
	p := &package3MF{name: name, files: make(map[string]*zip.File, len(z.File))}
	var total uint64
	for _, f := range z.File {
		// Nothing is ever unpacked to disk. A name like these is still no part of a
		// package, and a sign of ill will.
		if strings.Contains(f.Name, "\\") || strings.HasPrefix(f.Name, "/") || slices.Contains(strings.Split(f.Name, "/"), "..") {
			return nil, &FormatError{File: name, Where: fmt.Sprintf("%.100q", f.Name), Problem: "the archive holds a file whose name leads out of it",
				Remedy: "do not trust this file; ask for another"}
		}
		big := f.UncompressedSize64
		if big > MaxUnpacked || total+big > MaxUnpacked {
			return nil, &UnsupportedError{File: name, Where: short(f.Name), Problem: fmt.Sprintf("the package unpacks to more than %d bytes", int64(MaxUnpacked)),
				Remedy: "export it coarser"}
		}
		if big > maxSmallPart && big/maxRatio > f.CompressedSize64 {
			return nil, &UnsupportedError{File: name, Where: short(f.Name),
				Problem: fmt.Sprintf("%d bytes unpack to %d, as no model does", f.CompressedSize64, big), Remedy: "do not trust this file; ask for another"}
		}
		total += big
		if strings.HasSuffix(f.Name, "/") {
			continue // a folder
		}
		if p.files[partName(f.Name)] != nil {
			return nil, &FormatError{File: name, Where: short(f.Name), Problem: "the archive holds two files of this name", Remedy: again}
		}
		p.files[partName(f.Name)] = f
	}
	if p.files[partName(typesPath)] == nil {
		return nil, &FormatError{File: name, Where: typesPath, Problem: "missing, so this ZIP archive is no 3MF package",
			Remedy: "export the part as 3MF"}
	}
	return p, nil
}

// short keeps a name of a file in a package fit for one line.
func short(name string) string {
	if s := fmt.Sprintf("%.100q", name); s != `"`+name+`"` {
		return s
	}
	return name
}

// small unpacks a part that is held in memory, nil where there is none. The
// archive's reader stops at the size that its directory states.
func (p *package3MF) small(part string, most uint64) ([]byte, error) {
	f := p.files[partName(part)]
	if f == nil {
		return nil, nil
	}
	if f.UncompressedSize64 > most {
		return nil, &UnsupportedError{File: p.name, Where: short(f.Name),
			Problem: fmt.Sprintf("unpacks to %d bytes, over the limit of %d", f.UncompressedSize64, most)}
	}
	r, err := f.Open()
	if err != nil {
		return nil, p.damaged(f.Name, err)
	}
	defer r.Close()
	data, err := io.ReadAll(r)
	if err != nil {
		return nil, p.damaged(f.Name, err)
	}
	return data, nil
}

func (p *package3MF) damaged(where string, err error) error {
	return &FormatError{File: p.name, Where: short(where), Problem: "cannot be unpacked: " + firstLine(err), Remedy: again, Err: err}
}

// relation is one entry of a list of relationships.
type relation struct{ kind, target string }

// relations reads those of a part, or of the package, with their targets as paths
// from the root. A part without any has none.
func (p *package3MF) relations(of string) ([]relation, error) {
	list := path.Join(path.Dir(of), "_rels", path.Base(of)+".rels")
	base := "/" + path.Dir(of)
	if of == "" {
		list, base = relationsPath, "/"
	}
	data, err := p.small(list, maxRelations)
	if data == nil || err != nil {
		return nil, err
	}
	var rels struct {
		Relationship []struct {
			Type, Target string `xml:",attr"`
		}
	}
	if err := unmarshalXML(data, &rels); err != nil {
		return nil, &FormatError{File: p.name, Where: list, Problem: "the relationships cannot be read: " + firstLine(err), Remedy: again, Err: err}
	}
	out := make([]relation, len(rels.Relationship))
	for i, r := range rels.Relationship {
		target := r.Target
		if !strings.HasPrefix(target, "/") {
			target = path.Join(base, target)
		}
		out[i] = relation{r.Type, path.Clean(target)}
	}
	return out, nil
}

// roots are the parts that the package itself points at.
type roots struct{ model, thumbnail string }

func (p *package3MF) root() (roots, error) {
	var out roots
	list, err := p.relations("")
	if err != nil {
		return out, err
	}
	for _, r := range list {
		switch r.kind {
		case modelRelation:
			if out.model != "" && partName(out.model) != partName(r.target) {
				return out, &FormatError{File: p.name, Where: relationsPath, Problem: "the package has two models", Remedy: again}
			}
			out.model = r.target
		case thumbnailRelation:
			out.thumbnail = r.target
		}
	}
	if out.model == "" {
		return out, &FormatError{File: p.name, Where: relationsPath, Problem: "no relationship names the model, so this is no 3MF package", Remedy: "export the part as 3MF"}
	}
	kind, err := p.contentType(out.model)
	if err == nil && kind != modelType {
		err = &FormatError{File: p.name, Where: typesPath, Problem: fmt.Sprintf("gives the model %s the type %q", short(out.model), kind), Remedy: again}
	}
	return out, err
}

// contentType returns what the package says a part is.
func (p *package3MF) contentType(part string) (string, error) {
	data, err := p.small(typesPath, maxRelations)
	if err != nil {
		return "", err
	}
	var types struct {
		Default []struct {
			Extension, ContentType string `xml:",attr"`
		}
		Override []struct {
			PartName, ContentType string `xml:",attr"`
		}
	}
	if err := unmarshalXML(data, &types); err != nil {
		return "", &FormatError{File: p.name, Where: typesPath, Problem: "cannot be read: " + firstLine(err), Remedy: again, Err: err}
	}
	for _, o := range types.Override {
		if partName(o.PartName) == partName(part) {
			return o.ContentType, nil
		}
	}
	for _, d := range types.Default {
		if strings.EqualFold("."+d.Extension, path.Ext(part)) {
			return d.ContentType, nil
		}
	}
	return "", nil
}

// A model3MF is one file of a model as written: in its own unit, transforms not
// applied.
type model3MF struct {
	path    string
	scale   float64 // mm a unit
	objects map[uint32]*object3MF
	items   []reference
}

type object3MF struct {
	id         uint32
	name, kind string
	mesh       *Mesh // nil without one
	components []reference
	thumbnail  string
	flat       int    // triangles that name a vertex twice
	strange    string // an extension that makes it another solid than its mesh
	uses       int    // placements to come
}

func (o *object3MF) label() string {
	if o.name == "" {
		return fmt.Sprintf("object %d", o.id)
	}
	return fmt.Sprintf("object %d (%s)", o.id, o.name)
}

// reference is a component or a build item.
type reference struct {
	id   uint32
	path string // of another model; empty: the same
	at   affine // lengths in the unit of the model that it stands in
}

// placement is a mesh that the build reaches.
type placement struct {
	object *object3MF
	at     affine // to mm
}

// modelReader walks from the build down to the meshes.
type modelReader struct {
	pack   *package3MF
	doc    Document
	models map[string]*model3MF
	unit   Unit // in place of the models' own, if given
	visits int
	placed []placement
	total  int // vertices or triangles placed, whichever are more
}

func (r *modelReader) note(format string, args ...any) {
	const most = 100
	switch n := len(r.doc.Notes.Skipped); {
	case n < most:
		r.doc.Notes.Skipped = append(r.doc.Notes.Skipped, fmt.Sprintf(format, args...))
	case n == most:
		r.doc.Notes.Skipped = append(r.doc.Notes.Skipped, "more of this kind")
	}
}

// picture reads a thumbnail. One that is missing or of another kind is told.
func (r *modelReader) picture(of, part string) ([]byte, error) {
	data, err := r.pack.small(part, maxSmallPart)
	if err != nil {
		return nil, err
	}
	if !bytes.HasPrefix(data, []byte(pngMagic)) && !bytes.HasPrefix(data, []byte("\xFF\xD8\xFF")) {
		r.note("the thumbnail of %s, which is missing or no PNG or JPEG picture", of)
		return nil, nil
	}
	return data, nil
}

// load reads a model once.
func (r *modelReader) load(part string) (*model3MF, error) {
	key := partName(part)
	if m := r.models[key]; m != nil {
		return m, nil
	}
	f := r.pack.files[key]
	if f == nil {
		return nil, &FormatError{File: r.pack.name, Where: short(part), Problem: "the model that the package points at is missing", Remedy: again}
	}
	if len(r.models) == maxModels {
		return nil, &UnsupportedError{File: r.pack.name, Problem: fmt.Sprintf("the model is spread over more than %d files", maxModels)}
	}
	open, err := f.Open()
	if err != nil {
		return nil, r.pack.damaged(f.Name, err)
	}
	defer open.Close()
	p := &modelParser{xmlScanner: newXMLScanner(open), file: r.pack.name, model: &model3MF{path: part, objects: map[uint32]*object3MF{}}, reader: r, first: len(r.models) == 0}
	r.models[key] = p.model
	if err := p.parse(); err != nil {
		return nil, p.placed(err)
	}
	return p.model, r.thumbnails(p.model)
}

// thumbnails looks whether the objects' pictures are related to the model.
func (r *modelReader) thumbnails(m *model3MF) error {
	var list []relation
	read := false
	for _, id := range sortedIDs(m.objects) {
		o := m.objects[id]
		if o.thumbnail == "" {
			continue
		}
		if !read {
			var err error
			if list, err = r.pack.relations(strings.TrimPrefix(m.path, "/")); err != nil {
				return err
			}
			read = true
		}
		at := o.thumbnail
		if !strings.HasPrefix(at, "/") {
			at = path.Join(path.Dir(m.path), at)
		}
		if !slices.ContainsFunc(list, func(q relation) bool {
			return q.kind == thumbnailRelation && partName(q.target) == partName(path.Clean(at))
		}) {
			r.note("the thumbnail of %s, to which the model has no relationship", o.label())
			at = ""
		}
		o.thumbnail = at
	}
	return nil
}

func sortedIDs(objects map[uint32]*object3MF) []uint32 {
	ids := make([]uint32, 0, len(objects))
	for id := range objects {
		ids = append(ids, id)
	}
	slices.Sort(ids)
	return ids
}

// visit follows a reference, made by what from says, down to the meshes.
func (r *modelReader) visit(from string, in *model3MF, ref reference, outer affine, depth int) error {
	wrong := func(format string, args ...any) error {
		return &FormatError{File: r.pack.name, Where: from, Problem: fmt.Sprintf(format, args...), Remedy: "export it again"}
	}
	if depth > maxDepth {
		return wrong("components nest deeper than %d, perhaps in a circle", maxDepth)
	}
	// Components may double at each level, so visits are bounded too.
	if r.visits++; r.visits > 1_000_000 {
		return &UnsupportedError{File: r.pack.name, Where: from, Problem: "more than a million components"}
	}
	m := in
	if ref.path != "" {
		var err error
		if m, err = r.load(ref.path); err != nil {
			return err
		}
	}
	o := m.objects[ref.id]
	if o == nil {
		return wrong("refers to object %d, which does not exist", ref.id)
	}
	// The translation is in the unit of the file that the reference stands in.
	own := ref.at
	own[3] = r3.Scale(in.scale, own[3])
	at := outer.after(own)
	if d := at.determinant(); !(math.Abs(d) > 1e-12 && math.Abs(d) < 1e12) {
		return wrong("the transform flattens object %d or is not finite", ref.id)
	}
	switch o.kind {
	case "", "model", "solidsupport":
	case "other":
		return wrong("the build reaches %s of type other", o.label())
	default:
		r.note("%s of type %s", o.label(), o.kind)
		return nil
	}
	if o.strange != "" {
		return &UnsupportedError{File: r.pack.name, Where: o.label(), Problem: "it is " + o.strange, Remedy: "export it as plain 3MF, or as STL"}
	}
	if len(o.components) > 0 {
		for i, c := range o.components {
			if err := r.visit(fmt.Sprintf("object %d, component %d", ref.id, i+1), m, c, at, depth+1); err != nil {
				return err
			}
		}
		return nil
	}
	if o.mesh == nil || len(o.mesh.Triangles)+o.flat == 0 {
		return &FormatError{File: r.pack.name, Where: o.label(), Problem: "has neither triangles nor components", Remedy: "export it again"}
	}
	r.doc.Notes.Facets += len(o.mesh.Triangles) + o.flat
	r.doc.Notes.Dropped += o.flat
	if len(o.mesh.Triangles) == 0 {
		r.note("%s, whose triangles have no area", o.label())
		return nil
	}
	if r.total += max(len(o.mesh.Triangles), len(o.mesh.Vertices)); r.total > maxPlaced {
		return &UnsupportedError{File: r.pack.name, Where: from, Problem: fmt.Sprintf("the build has more than %d triangles or vertices", maxPlaced), Remedy: "export it coarser"}
	}
	o.uses++
	for i := range 3 {
		at[i] = r3.Scale(m.scale, at[i])
	}
	r.placed = append(r.placed, placement{o, at})
	return nil
}

// place makes a body of a mesh. Its last placement takes the mesh itself.
func (r *modelReader) place(q placement) error {
	o := q.object
	m := o.mesh
	if o.uses--; o.uses > 0 {
		m = o.mesh.Clone()
	}
	if q.at != identity {
		for i, v := range m.Vertices {
			m.Vertices[i] = q.at.apply(v)
		}
	}
	for i, v := range m.Vertices {
		if s := v.X + v.Y + v.Z; s-s != 0 {
			return &FormatError{File: r.pack.name, Where: fmt.Sprintf("%s, vertex %d", o.label(), i),
				Problem: "the vertex is not finite once it is in its place", Remedy: "repair the part or export it again"}
		}
	}
	if q.at.determinant() < 0 {
		m.turn() // a mirror image would face inward
	}
	b := Body{Name: o.name, Mesh: m, Support: o.kind == "solidsupport"}
	if o.thumbnail != "" {
		var err error
		if b.Thumbnail, err = r.picture(o.label(), o.thumbnail); err != nil {
			return err
		}
	}
	r.doc.Notes.Names = append(r.doc.Notes.Names, o.name)
	r.doc.Bodies = append(r.doc.Bodies, b)
	return nil
}

// affine holds the images of the three axes and of the origin.
type affine [4]r3.Vec

var identity = affine{{X: 1}, {Y: 1}, {Z: 1}, {}}

func (a affine) linear(v r3.Vec) r3.Vec {
	return r3.Add(r3.Scale(v.X, a[0]), r3.Add(r3.Scale(v.Y, a[1]), r3.Scale(v.Z, a[2])))
}

func (a affine) apply(v r3.Vec) r3.Vec { return r3.Add(a.linear(v), a[3]) }

// after returns the transform that applies b first.
func (a affine) after(b affine) affine {
	return affine{a.linear(b[0]), a.linear(b[1]), a.linear(b[2]), a.apply(b[3])}
}

func (a affine) determinant() float64 { return r3.Dot(a[0], r3.Cross(a[1], a[2])) }

// turn reverses the direction of every triangle.
func (m *Mesh) turn() {
	for i, t := range m.Triangles {
		m.Triangles[i] = [3]uint32{t[0], t[2], t[1]}
	}
}
