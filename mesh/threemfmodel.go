package mesh

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"path"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"gonum.org/v1/gonum/spatial/r3"
)

// modelParser reads one model file of a package.
type modelParser struct {
	*xmlScanner
	file   string
	model  *model3MF
	reader *modelReader
	first  bool   // the package's own model, whose metadata and items count
	within string // object, for errors
}

// placed says where in the file an error of the scanner is. Others know.
func (p *modelParser) placed(err error) error {
	var format *FormatError
	var unsupported *UnsupportedError
	if errors.As(err, &format) || errors.As(err, &unsupported) {
		return err
	}
	where := fmt.Sprintf("%s, byte %d", short(strings.TrimPrefix(p.model.path, "/")), p.offset())
	switch {
	case err == io.ErrUnexpectedEOF:
		return &FormatError{File: p.file, Where: where, Problem: "the model ends too early", Remedy: again, Err: err}
	}
	return &FormatError{File: p.file, Where: where, Problem: firstLine(err), Remedy: "export it again", Err: err}
}

func (p *modelParser) malformed(format string, args ...any) error {
	where := p.within
	if where == "" {
		where = short(strings.TrimPrefix(p.model.path, "/"))
	}
	return &FormatError{File: p.file, Where: where, Problem: fmt.Sprintf(format, args...), Remedy: "export it again"}
}

// children calls each for the elements inside the open one. What each leaves
// unread of an element is passed over.
func (p *modelParser) children(each func(name string) error) error {
	depth := len(p.open)
	for {
		kind, err := p.next()
		switch {
		case err != nil:
			return err
		case kind == xmlClose:
			return nil
		case kind != xmlOpen:
			continue
		}
		if err := each(p.element()); err != nil {
			return err
		}
		for len(p.open) > depth {
			if _, err := p.next(); err != nil {
				return err
			}
		}
	}
}

// parse reads the whole document.
func (p *modelParser) parse() error {
	kind, err := p.next()
	if err != nil {
		return err
	}
	if kind != xmlOpen || p.element() != "model" {
		return p.malformed("the document is no 3MF model: its root is %.40q", p.name)
	}
	if err := p.root(); err != nil {
		return err
	}
	err = p.children(func(name string) error {
		switch name {
		case "metadata":
			return p.metadata(p.first)
		case "resources":
			return p.children(func(name string) error {
				if name != "object" {
					return nil
				}
				return p.object()
			})
		case "build":
			return p.children(func(name string) error {
				if name != "item" {
					return nil
				}
				ref, err := p.reference(fmt.Sprintf("build item %d", len(p.model.items)+1))
				p.model.items = append(p.model.items, ref)
				return err
			})
		}
		return nil
	})
	if err != nil {
		return err
	}
	if kind, err = p.next(); err == nil && kind != xmlEnd {
		err = p.malformed("more follows the model")
	}
	return err
}

// root reads the attributes of the model.
func (p *modelParser) root() error {
	unit := Unit{"millimeter", 1}
	if name := p.attr("unit"); name != nil {
		i := slices.IndexFunc(units, func(u Unit) bool { return u.name == string(name) })
		if i < 0 {
			return p.malformed("the unit %.20q is none of the specification's", name)
		}
		unit = units[i]
	}
	if given := p.reader.unit; given != (Unit{}) {
		if p.first && given != unit {
			p.reader.doc.Notes.Unit = unit.String()
		}
		unit = given
	}
	p.model.scale = unit.mm
	for _, prefix := range strings.Fields(string(p.attr("requiredextensions"))) {
		if space := p.space(prefix); !slices.Contains(harmlessExtensions, space) {
			return &UnsupportedError{File: p.file, Where: short(strings.TrimPrefix(p.model.path, "/")),
				Problem: fmt.Sprintf("the model requires the extension %.40q (%.100s)", prefix, space),
				Remedy:  "export it as plain 3MF, or as STL"}
		}
	}
	return nil
}

// metadata reads one entry; those of objects are only checked.
func (p *modelParser) metadata(keep bool) error {
	name := string(p.attr("name"))
	if !utf8.ValidString(name) {
		return p.malformed("the name of a metadata entry is not UTF-8")
	}
	prefix, _, spaced := strings.Cut(name, ":")
	switch {
	case spaced && p.space(prefix) == "":
		p.reader.note("metadata %.60q, whose prefix is not declared", name)
	case !spaced && !slices.Contains(metadataNames, name):
		p.reader.note("metadata %.60q, which the specification does not know", name)
	}
	var text []byte
	for depth := 1; depth > 0; {
		kind, err := p.next()
		if err != nil {
			return err
		}
		switch kind {
		case xmlOpen:
			depth++
		case xmlClose:
			depth--
		case xmlText:
			if text = append(text, p.text...); len(text) > maxText {
				return p.malformed("metadata longer than %d bytes", maxText)
			}
		}
	}
	if !utf8.Valid(text) {
		return p.malformed("the metadata %.60q is not UTF-8", name)
	}
	if !keep || spaced {
		return nil
	}
	doc := &p.reader.doc
	for _, known := range []struct {
		name string
		to   *string
	}{
		{"Title", &doc.Title}, {"Designer", &doc.Designer}, {"Description", &doc.Description},
		{"LicenseTerms", &doc.License}, {"Application", &doc.Application},
		{"CreationDate", &doc.Created}, {"ModificationDate", &doc.Modified},
	} {
		if known.name != name {
			continue
		}
		if *known.to != "" {
			p.reader.note("metadata %q, given again", name)
		}
		*known.to = string(text)
	}
	return nil
}

func (p *modelParser) object() error {
	o := &object3MF{kind: string(p.attr("type")), name: string(p.attr("name")), thumbnail: string(p.attr("thumbnail"))}
	id, ok := parseIndex(p.attr("id"))
	p.within = fmt.Sprintf("object element %d", len(p.model.objects)+1)
	if !ok || id == 0 {
		return p.malformed("has no id")
	}
	o.id = id
	p.within = fmt.Sprintf("object %d", id)
	defer func() { p.within = "" }()
	if p.model.objects[id] != nil {
		return p.malformed("repeats the id %d", id)
	}
	if !utf8.ValidString(o.name) || !utf8.ValidString(o.thumbnail) {
		return p.malformed("its name is not UTF-8")
	}
	if !slices.Contains([]string{"", "model", "solidsupport", "support", "surface", "other"}, o.kind) {
		return p.malformed("the type %.20q is none of the specification's", o.kind)
	}
	if string(p.attrOf(sliceSpace, "meshresolution")) == "lowres" {
		o.strange = "a coarse stand-in for slices"
	}
	p.model.objects[id] = o
	err := p.children(func(name string) error {
		switch name {
		case "metadatagroup":
			return p.children(func(name string) error {
				if name != "metadata" {
					return nil
				}
				return p.metadata(false)
			})
		case "mesh":
			if o.mesh != nil || o.components != nil {
				return p.malformed("has two bodies")
			}
			o.mesh = &Mesh{}
			return p.mesh(o)
		case "components":
			if o.mesh != nil || o.components != nil {
				return p.malformed("has two bodies")
			}
			return p.children(func(name string) error {
				if name != "component" {
					return nil
				}
				ref, err := p.reference(fmt.Sprintf("object %d, component %d", id, len(o.components)+1))
				o.components = append(o.components, ref)
				return err
			})
		}
		return nil
	})
	if err != nil || o.mesh == nil {
		return err
	}
	n := uint32(len(o.mesh.Vertices))
	kept := o.mesh.Triangles[:0]
	for i, t := range o.mesh.Triangles {
		if far := max(t[0], t[1], t[2]); far >= n {
			p.within = fmt.Sprintf("%s, triangle %d", o.label(), i)
			return p.malformed("it uses vertex %d, but there are only %d", far, n)
		}
		if repeats(t) {
			o.flat++
			continue
		}
		kept = append(kept, t)
	}
	o.mesh.Triangles = kept
	return nil
}

// mesh reads vertices and triangles. These are looked at once all are known.
func (p *modelParser) mesh(o *object3MF) error {
	axes, corners := [3]string{"x", "y", "z"}, [3]string{"v1", "v2", "v3"}
	label := o.label()
	return p.children(func(name string) error {
		switch name {
		case "vertices":
			return p.children(func(name string) error {
				if name != "vertex" {
					return nil
				}
				var v [3]float64
				for i, axis := range axes {
					f, ok := parseNumber(p.attr(axis))
					f = float64(float32(f)) // which is what 3MF programs keep
					if !ok || f-f != 0 {
						p.within = fmt.Sprintf("%s, vertex %d", label, len(o.mesh.Vertices))
						return p.notNumber(axis, p.attr(axis))
					}
					v[i] = f
				}
				if len(o.mesh.Vertices) == maxPlaced {
					return &UnsupportedError{File: p.file, Where: label, Problem: fmt.Sprintf("more than %d vertices", maxPlaced), Remedy: "export it coarser"}
				}
				o.mesh.Vertices = append(o.mesh.Vertices, r3.Vec{X: v[0], Y: v[1], Z: v[2]})
				return nil
			})
		case "triangles":
			return p.children(func(name string) error {
				if name != "triangle" {
					return nil
				}
				var t [3]uint32
				for i, corner := range corners {
					v, ok := parseIndex(p.attr(corner))
					if !ok {
						p.within = fmt.Sprintf("%s, triangle %d", label, len(o.mesh.Triangles))
						return p.malformed("%s=%.20q is no number of a vertex", corner, p.attr(corner))
					}
					t[i] = v
				}
				if len(o.mesh.Triangles) == maxPlaced {
					return &UnsupportedError{File: p.file, Where: label, Problem: fmt.Sprintf("more than %d triangles", maxPlaced), Remedy: "export it coarser"}
				}
				o.mesh.Triangles = append(o.mesh.Triangles, t)
				return nil
			})
		}
		if p.of(beamSpace) {
			o.strange = "a lattice of beams"
		}
		return nil
	})
}

func (p *modelParser) notNumber(what string, value []byte) error {
	if f, err := strconv.ParseFloat(string(value), 64); err == nil && f-f != 0 || errors.Is(err, strconv.ErrRange) || f > math.MaxFloat32 || f < -math.MaxFloat32 {
		return p.malformed("%s=%.40q is not finite", what, value)
	}
	return p.malformed("%s=%.40q is no number", what, value)
}

// reference reads a component or a build item, which from names.
func (p *modelParser) reference(from string) (reference, error) {
	ref := reference{at: identity}
	within := p.within
	p.within = from
	defer func() { p.within = within }()
	id, ok := parseIndex(p.attr("objectid"))
	if !ok {
		return ref, p.malformed("objectid=%.20q is no id", p.attr("objectid"))
	}
	ref.id = id
	if at := p.attrOf(productionSpace, "path"); len(at) > 0 {
		if ref.path = string(at); !strings.HasPrefix(ref.path, "/") {
			ref.path = path.Join(path.Dir(p.model.path), ref.path)
		}
	}
	text := p.attr("transform")
	if text == nil {
		return ref, nil
	}
	fields := bytes.Fields(text)
	if len(fields) != 12 {
		return ref, p.malformed("a transform of %d numbers, not 12", len(fields))
	}
	var m [12]float64
	for i, f := range fields {
		v, ok := parseNumber(f)
		if !ok || v-v != 0 {
			return ref, p.notNumber("transform", f)
		}
		m[i] = v
	}
	for i := range ref.at {
		ref.at[i] = r3.Vec{X: m[3*i], Y: m[3*i+1], Z: m[3*i+2]}
	}
	return ref, nil
}

// parseIndex reads a whole number below 2³¹, as the specification bounds them.
func parseIndex(b []byte) (uint32, bool) {
	b = bytes.TrimFunc(b, func(r rune) bool { return r == ' ' || r == '\t' || r == '\n' || r == '\r' })
	n := uint64(0)
	for _, c := range b {
		if c < '0' || c > '9' {
			return 0, false
		}
		if n = n*10 + uint64(c-'0'); n >= 1<<31 {
			return 0, false
		}
	}
	return uint32(n), len(b) > 0
}

// pow10 are the powers of ten that float64 holds exactly.
var pow10 = [...]float64{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

// parseNumber reads a decimal number. Digits below 2⁵³ with at most 22 decimals are exact in float64, and
// so is their quotient but for its last bit (Clinger 1990, How to Read Floating Point
// Numbers Accurately, PLDI); the rest is left to strconv.
func parseNumber(b []byte) (float64, bool) {
	i, negative := 0, false
	if len(b) > 0 && (b[0] == '-' || b[0] == '+') {
		i, negative = 1, b[0] == '-'
	}
	digits, decimals, point, mantissa := 0, 0, false, uint64(0)
	for ; i < len(b); i++ {
		c := b[i]
		if c == '.' && !point {
			point = true
			continue
		}
		if c < '0' || c > '9' {
			break
		}
		if digits++; digits > 15 {
			break
		}
		mantissa = mantissa*10 + uint64(c-'0')
		if point {
			decimals++
		}
	}
	if i == len(b) && digits > 0 {
		f := float64(mantissa) / pow10[decimals]
		if negative {
			f = -f
		}
		return f, true
	}
	text := strings.Trim(string(b), " \t\r\n")
	if strings.ContainsAny(text, "_xXpPnNiI") { // what ParseFloat knows beside decimals
		return math.NaN(), false
	}
	f, err := strconv.ParseFloat(text, 64)
	return f, err == nil
}
