package mesh

import (
	"archive/zip"
	"bufio"
	"bytes"
	"compress/flate"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"gonum.org/v1/gonum/spatial/r3"
)

// A Body is a named solid.
type Body struct {
	Name string
	Mesh *Mesh
	// Support tells that the file it was read from declares it a support, by the
	// object type solidsupport. It is not written: see Package.SolidSupport.
	Support bool
	// Thumbnail is a PNG or JPEG picture of the body, nil without one. Only PNG is
	// written.
	Thumbnail []byte
}

// A Package is what one 3MF file holds: a part and the supports that belong to
// it, all in one frame, in mm. Texts may be empty.
type Package struct {
	Title, Designer, Description, License, Application string

	// Dates as the designer wants them; empty ones keep the bytes free of time.
	Created, Modified string

	Part      Body
	Supports  []Body // those without triangles are not written
	Thumbnail []byte // PNG

	// SolidSupport writes the supports as objects of the type solidsupport.
	// Readers may leave that type out or put supports of their own in its place
	// (3MF Core Specification 1.4, chapter 4.1), so type model is the default.
	SolidSupport bool
}

// Names and types of the 3MF Core Specification 1.4 and of the Open Packaging
// Conventions (ECMA-376 part 2) that it builds on.
const (
	coreSpace         = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
	productionSpace   = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
	materialSpace     = "http://schemas.microsoft.com/3dmanufacturing/material/2015/02"
	beamSpace         = "http://schemas.microsoft.com/3dmanufacturing/beamlattice/2017/02"
	sliceSpace        = "http://schemas.microsoft.com/3dmanufacturing/slice/2015/07"
	modelRelation     = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
	thumbnailRelation = "http://schemas.openxmlformats.org/package/2006/relationships/metadata/thumbnail"
	relationSpace     = "http://schemas.openxmlformats.org/package/2006/relationships"
	relationType      = "application/vnd.openxmlformats-package.relationships+xml"
	typesSpace        = "http://schemas.openxmlformats.org/package/2006/content-types"
	modelType         = "application/vnd.ms-package.3dmanufacturing-3dmodel+xml"

	typesPath     = "[Content_Types].xml"
	relationsPath = "_rels/.rels"
	modelPath     = "3D/3dmodel.model"
	modelRelsPath = "3D/_rels/3dmodel.model.rels"
	thumbnailPath = "Metadata/thumbnail.png"
	pngMagic      = "\x89PNG\r\n\x1a\n"
	xmlHead       = `<?xml version="1.0" encoding="UTF-8"?>` + "\n"
)

// packageTime stands in every file of a package: the first instant a ZIP
// archive can express.
var packageTime = time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC)

// modelLevel is how hard the model is packed. DEFLATE's default takes three times
// as long for files a sixth smaller.
const modelLevel = flate.BestSpeed

// Encode3MF writes p as a 3MF package in millimetres. The part and each support
// are objects; with supports, one more object assembles them all, and the only
// build item points at it (3MF Core Specification 1.4, chapter 4), so that they
// keep their places. The item is moved into the positive octant, the vertices are
// not touched. Coordinates are rounded to float32 and written so that they read
// back as the same float32. The same package gives the same bytes.
//
// It returns an error when the part has no triangles, a mesh fails Check or
// names a vertex twice in one triangle, a thumbnail is no PNG, or w fails.
func Encode3MF(w io.Writer, p Package) error {
	if p.Part.Mesh == nil || len(p.Part.Mesh.Triangles) == 0 {
		return errors.New("writing 3MF: the part has no triangles")
	}
	bodies := []Body{p.Part}
	for _, b := range p.Supports {
		if b.Mesh != nil && len(b.Mesh.Triangles) > 0 {
			bodies = append(bodies, b)
		}
	}
	if len(p.Thumbnail) > 0 && !bytes.HasPrefix(p.Thumbnail, []byte(pngMagic)) {
		return errors.New("writing 3MF: the thumbnail is not a PNG picture")
	}
	for i, b := range bodies {
		if err := writable(b); err != nil {
			return fmt.Errorf("writing 3MF: body %d (%s): %w", i, b.Name, err)
		}
	}
	e := &packer{zip: zip.NewWriter(w), solidSupport: p.SolidSupport}
	e.zip.RegisterCompressor(zip.Deflate, func(w io.Writer) (io.WriteCloser, error) {
		return flate.NewWriter(w, modelLevel)
	})
	if err := e.write(p, bodies); err != nil {
		return fmt.Errorf("writing 3MF: %w", err)
	}
	return nil
}

// writable refuses what a package cannot hold.
func writable(b Body) error {
	if len(b.Thumbnail) > 0 && !bytes.HasPrefix(b.Thumbnail, []byte(pngMagic)) {
		return errors.New("its thumbnail is not a PNG picture")
	}
	if err := b.Mesh.Check(); err != nil {
		return err
	}
	for i, v := range b.Mesh.Vertices {
		for _, x := range toPoint32(v) {
			if x-x != 0 {
				return fmt.Errorf("vertex %d is too far out for float32", i)
			}
		}
	}
	for i, t := range b.Mesh.Triangles {
		if repeats(t) {
			return fmt.Errorf("triangle %d names a vertex twice", i)
		}
	}
	return nil
}

// packer writes the files of a package.
type packer struct {
	zip          *zip.Writer
	solidSupport bool
}

func (e *packer) create(name string, method uint16) (io.Writer, error) {
	return e.zip.CreateHeader(&zip.FileHeader{Name: name, Method: method, Modified: packageTime})
}

func (e *packer) text(name, text string) error {
	w, err := e.create(name, zip.Deflate)
	if err != nil {
		return err
	}
	_, err = io.WriteString(w, text)
	return err
}

// relations writes relationships of one source, as pairs of type and target.
func (e *packer) relations(name string, pairs ...string) error {
	var b strings.Builder
	b.WriteString(xmlHead + `<Relationships xmlns="` + relationSpace + `">` + "\n")
	for i := 0; i < len(pairs); i += 2 {
		fmt.Fprintf(&b, ` <Relationship Id="rel%d" Type="%s" Target="/%s"/>`+"\n", i/2, pairs[i], pairs[i+1])
	}
	b.WriteString("</Relationships>\n")
	return e.text(name, b.String())
}

func objectThumbnail(i int) string { return fmt.Sprintf("Metadata/object-%d.png", i+1) }

func (e *packer) write(p Package, bodies []Body) error {
	types := xmlHead + `<Types xmlns="` + typesSpace + `">` + "\n" +
		` <Default Extension="model" ContentType="` + modelType + `"/>` + "\n" +
		` <Default Extension="png" ContentType="image/png"/>` + "\n" +
		` <Default Extension="rels" ContentType="` + relationType + `"/>` + "\n</Types>\n"
	root := []string{modelRelation, modelPath}
	pictures := [][]byte{p.Thumbnail}
	paths := []string{thumbnailPath}
	if len(p.Thumbnail) > 0 {
		root = append(root, thumbnailRelation, thumbnailPath)
	}
	var own []string
	for i, b := range bodies {
		pictures, paths = append(pictures, b.Thumbnail), append(paths, objectThumbnail(i))
		if len(b.Thumbnail) > 0 {
			own = append(own, thumbnailRelation, objectThumbnail(i))
		}
	}
	if err := e.text(typesPath, types); err != nil {
		return err
	}
	if err := e.relations(relationsPath, root...); err != nil {
		return err
	}
	if len(own) > 0 {
		if err := e.relations(modelRelsPath, own...); err != nil {
			return err
		}
	}
	for i, data := range pictures {
		if len(data) == 0 {
			continue
		}
		w, err := e.create(paths[i], zip.Store) // PNG is packed already
		if err != nil {
			return err
		}
		if _, err := w.Write(data); err != nil {
			return err
		}
	}
	if err := e.model(p, bodies); err != nil {
		return err
	}
	return e.zip.Close()
}

// model writes the model's XML. A bufio.Writer keeps its first error for Flush.
func (e *packer) model(p Package, bodies []Body) error {
	to, err := e.create(modelPath, zip.Deflate)
	if err != nil {
		return err
	}
	w := bufio.NewWriterSize(to, 1<<16)
	w.WriteString(xmlHead + `<model unit="millimeter" xml:lang="en" xmlns="` + coreSpace + `">` + "\n")
	for _, m := range []struct{ name, value string }{
		{"Title", p.Title}, {"Designer", p.Designer}, {"Description", p.Description}, {"LicenseTerms", p.License},
		{"CreationDate", p.Created}, {"ModificationDate", p.Modified}, {"Application", p.Application},
	} {
		if m.value != "" {
			fmt.Fprintf(w, ` <metadata name="%s">%s</metadata>`+"\n", m.name, escaped(m.value))
		}
	}
	w.WriteString(" <resources>\n")
	lo := p.Part.Mesh.Bounds().Min
	for i, b := range bodies {
		fmt.Fprintf(w, `  <object id="%d"`, i+1)
		if e.solidSupport && i > 0 {
			w.WriteString(` type="solidsupport"`)
		}
		nameTo(w, b.Name)
		if len(b.Thumbnail) > 0 {
			fmt.Fprintf(w, ` thumbnail="/%s"`, objectThumbnail(i))
		}
		w.WriteString(">\n")
		meshTo(w, b.Mesh)
		w.WriteString("  </object>\n")
		m := b.Mesh.Bounds().Min
		lo = r3.Vec{X: min(lo.X, m.X), Y: min(lo.Y, m.Y), Z: min(lo.Z, m.Z)}
	}
	built := 1
	if n := len(bodies); n > 1 {
		built = n + 1
		fmt.Fprintf(w, `  <object id="%d"`, built)
		nameTo(w, p.Title)
		w.WriteString(">\n   <components>\n")
		for i := range bodies {
			fmt.Fprintf(w, `    <component objectid="%d"/>`+"\n", i+1)
		}
		w.WriteString("   </components>\n  </object>\n")
	}
	// Whole millimetres sideways keep the frame easy to recover; upward the item
	// moves no more than it must, since it stands on the plate.
	up := func(v, per float64) string {
		return strconv.FormatFloat(math.Ceil(max(0, -v)*per)/per, 'f', -1, 64)
	}
	fmt.Fprintf(w, " </resources>\n <build>\n"+`  <item objectid="%d" transform="1 0 0 0 1 0 0 0 1 %s %s %s"/>`+"\n </build>\n</model>\n",
		built, up(lo.X, 1), up(lo.Y, 1), up(lo.Z, 1000))
	return w.Flush()
}

func nameTo(w *bufio.Writer, name string) {
	if name = strings.Join(strings.Fields(name), " "); name != "" {
		w.WriteString(` name="` + escaped(name) + `"`)
	}
}

func meshTo(w *bufio.Writer, m *Mesh) {
	w.WriteString("   <mesh>\n    <vertices>\n")
	var line []byte
	for _, v := range m.Vertices {
		line = append(line[:0], `     <vertex`...)
		for i, x := range toPoint32(v) {
			line = append(line, ' ', 'x'+byte(i), '=', '"')
			line = strconv.AppendFloat(line, float64(x+0), 'f', -1, 32) // -0 becomes 0
			line = append(line, '"')
		}
		w.Write(append(line, "/>\n"...))
	}
	w.WriteString("    </vertices>\n    <triangles>\n")
	for _, t := range m.Triangles {
		line = append(line[:0], `     <triangle`...)
		for i, v := range t {
			line = append(line, ' ', 'v', '1'+byte(i), '=', '"')
			line = strconv.AppendUint(line, uint64(v), 10)
			line = append(line, '"')
		}
		w.Write(append(line, "/>\n"...))
	}
	w.WriteString("    </triangles>\n   </mesh>\n")
}

// escaped makes a text fit for XML, in elements and in quoted attributes. What no
// XML document may hold becomes U+FFFD. Quotes have names: readers built on lib3mf
// 1.x refuse references by number.
func escaped(s string) string {
	var b strings.Builder
	for _, r := range strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(s) {
		switch {
		case r == '&':
			b.WriteString("&amp;")
		case r == '<':
			b.WriteString("&lt;")
		case r == '>':
			b.WriteString("&gt;")
		case r == '"':
			b.WriteString("&quot;")
		case r < ' ' && r != '\t' && r != '\n', r == 0xFFFE, r == 0xFFFF:
			b.WriteRune(utf8.RuneError)
		default:
			b.WriteRune(r) // a byte that is no UTF-8 has become U+FFFD
		}
	}
	return b.String()
}
