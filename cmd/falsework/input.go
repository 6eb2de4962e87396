package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/plan"

	"github.com/spf13/pflag"
	"gonum.org/v1/gonum/spatial/r3"
)

// onPlate is how far, in mm, the lowest point of a part may be from the plate:
// what rounding in an exported file may amount to. Common practice, no source.
const onPlate = 0.01

// Parts smaller than leastPart, in mm, are refused as drawn in another unit, and
// below smallPart it is asked whether they were. Common practice, no source: seven
// lines of a 0.4 mm nozzle side by side, and the size of a shirt button.
const leastPart, smallPart = 3.0, 10.0

// margin is what a grid has to spare round the part, in mm: room for a post's
// foot beside it.
const margin = 5.0

// inputOptions say how files are read, alike in every command.
type inputOptions struct {
	unit mesh.Unit // the zero value is what the files say
	// loose lets a part be anywhere, since it will be turned and set on the plate.
	loose bool
}

func (o *inputOptions) addTo(fs *pflag.FlagSet) {
	fs.Var(&unitValue{&o.unit}, "unit", "what the numbers of files count: micron, millimetre, centimetre, inch, foot\n"+
		"or metre (default what 3MF says itself; millimetres in STL and OBJ)")
}

// unitValue reads the option.
type unitValue struct{ *mesh.Unit }

func (v *unitValue) Type() string { return "name" }

func (v *unitValue) Set(name string) (err error) {
	*v.Unit, err = mesh.ParseUnit(name)
	return err
}

// isPart tells by the end of its name whether a file may be read.
func isPart(path string) bool {
	return slices.Contains(mesh.Extensions, strings.ToLower(filepath.Ext(path)))
}

// read reads a file of any format. Sizes that suggest another unit are asked about.
func (o *inputOptions) read(path string) (mesh.Document, error) {
	doc, err := mesh.Read(path, o.unit)
	var size *mesh.SizeError
	if errors.As(err, &size) {
		if long := max(size.Size.X, size.Size.Y, size.Size.Z); long < mesh.MinPart || long > mesh.MaxPart {
			return doc, o.ask(path, size.Size, size.Problem)
		}
	}
	return doc, fileError(path, err)
}

// ask refuses a part of no likely size.
func (o *inputOptions) ask(path string, size r3.Vec, problem string) error {
	remedy := "say with --unit what its numbers count (micron, centimetre, inch, foot or metre), or scale it and export again"
	if o.unit != (mesh.Unit{}) {
		remedy = "is " + o.unit.String() + " the right --unit?"
	}
	return &mesh.SizeError{File: path, Size: size, Problem: problem, Remedy: remedy}
}

// readPart reads a part that stands on the plate. Several bodies are one part, unless
// one of them is declared or named a support. Warnings say what is wrong with it and
// did not stop the work.
func readPart(path string, in inputOptions) (m *mesh.Mesh, warnings []string, err error) {
	doc, err := in.read(path)
	if err != nil {
		return nil, nil, err
	}
	return onePart(path, in, doc)
}

// onePart makes the part of all bodies of a file.
func onePart(path string, in inputOptions, doc mesh.Document) (m *mesh.Mesh, warnings []string, err error) {
	if len(doc.Bodies) > 1 && slices.ContainsFunc(doc.Bodies, isSupport) {
		return nil, nil, &mesh.UnsupportedError{File: path, Problem: fmt.Sprintf("holds %d bodies, of which some are supports by name or type", len(doc.Bodies)),
			Remedy: "give a file with the part alone"}
	}
	m = joined(doc.Bodies)
	if warnings, err = settle(path, in, m, doc.Notes); err != nil {
		return nil, nil, err
	}
	if n := len(doc.Bodies); n > 1 {
		warnings = append(warnings, fmt.Sprintf("the file holds %d bodies, which are taken as one part: %s", n, namesOfBodies(doc.Bodies)))
	}
	return m, warnings, nil
}

// joined puts the shells of all bodies into one mesh.
func joined(bodies []mesh.Body) *mesh.Mesh {
	if len(bodies) == 1 {
		return bodies[0].Mesh
	}
	m := &mesh.Mesh{}
	for _, b := range bodies {
		m.Append(b.Mesh)
	}
	return m
}

// namesOfBodies lists bodies for messages.
func namesOfBodies(bodies []mesh.Body) string {
	var names []string
	for i, b := range bodies {
		if i == mostNames {
			names = append(names, "…")
			break
		}
		names = append(names, fmt.Sprintf("%q", b.Name))
	}
	return strings.Join(names, ", ")
}

// settle rounds a part as files will and refuses one of no likely size, or place unless
// it may be anywhere.
func settle(path string, in inputOptions, m *mesh.Mesh, notes mesh.Notes) (warnings []string, err error) {
	warnings = notes.Warnings()
	m.Round32()
	switch size := sizeOf(m); {
	case max(size[0], size[1], size[2]) < leastPart:
		return nil, in.ask(path, r3.Vec{X: size[0], Y: size[1], Z: size[2]}, fmt.Sprintf("the part measures only %s mm", times(size)))
	case max(size[0], size[1], size[2]) < smallPart:
		if in.unit == (mesh.Unit{}) {
			warnings = append(warnings, fmt.Sprintf("the part measures only %s mm; if it was drawn in inches, say --unit inch", times(size)))
		}
	}
	if !in.loose {
		if err := checkPlace(path, m); err != nil {
			return nil, err
		}
	}
	return append(warnings, defects(m.Topology())...), nil
}

// checkPlace refuses a part that does not stand on the plate. It is not moved
// silently: the files written must fit the designer's own.
func checkPlace(path string, m *mesh.Mesh) error {
	switch z := m.Bounds().Min.Z; {
	case z < -onPlate:
		return &mesh.UnsupportedError{File: path, Where: fmt.Sprintf("z = %.4g mm", z),
			Problem: "the part reaches below the plate at z = 0", Remedy: fmt.Sprintf("lift it by %.4g mm and export again", -z)}
	case z > onPlate:
		return &mesh.UnsupportedError{File: path, Where: fmt.Sprintf("z = %.4g mm", z),
			Problem: "the part floats above the plate at z = 0", Remedy: fmt.Sprintf("lower it by %.4g mm and export again", z)}
	}
	return nil
}

// defects counts in words what keeps a surface from being a clean solid.
func defects(t mesh.Topology) []string {
	var w []string
	add := func(n int, one, many string) {
		switch n {
		case 0:
		case 1:
			w = append(w, "1 "+one)
		default:
			w = append(w, fmt.Sprintf("%d %s", n, many))
		}
	}
	add(t.Boundary, "open edge", "open edges")
	add(t.NonManifold, "edge with more than two triangles", "edges with more than two triangles")
	add(max(0, t.Inconsistent-t.NonManifold), "edge whose triangles disagree about the outside", "edges whose triangles disagree about the outside")
	add(t.Degenerate, "triangle without area", "triangles without area")
	if len(w) == 0 {
		return nil
	}
	return []string{"the mesh is not clean: " + strings.Join(w, ", ") + "; what is inside was decided by winding, so look at the pictures"}
}

// maxCells bounds a print's cells times layers: 5 GB as bits.
const maxCells = 4e10

// cut cuts the part into layers.
func cut(path string, m *mesh.Mesh, s supports.Settings, workers int) (*raster.Stack, error) {
	b := m.Bounds()
	if err := checkRoom(path, b, s); err != nil {
		return nil, err
	}
	return raster.Section(m, raster.GridFor(b, s.Cell, margin), s.Layers(), workers), nil
}

// checkRoom refuses what would not fit in memory when cut.
func checkRoom(path string, b r3.Box, s supports.Settings) error {
	size := r3.Sub(b.Max, b.Min)
	across := func(mm float64) float64 { return (mm + 2*margin) / s.Cell }
	if n := across(size.X) * across(size.Y) * (size.Z / s.Layer); !(n > 0 && n <= maxCells) {
		return &mesh.UnsupportedError{File: path,
			Problem: fmt.Sprintf("%.4g × %.4g × %.4g mm in layers of %g mm and cells of %g mm is more than fits in memory",
				size.X, size.Y, size.Z, s.Layer, s.Cell),
			Remedy: "cut the part up, or take a wider --line and a thicker --layer"}
	}
	return nil
}

// readPlan reads a plan drawn for the part m in the file partPath.
func readPlan(path, partPath string, m *mesh.Mesh) (p plan.Plan, data []byte, warnings []string, err error) {
	data, err = os.ReadFile(path)
	if err != nil {
		return p, nil, nil, fileError(path, err)
	}
	if p, err = plan.Decode(path, data); err != nil {
		return p, nil, nil, fmt.Errorf("%w; correct it, or leave out --plan to have one drawn", err)
	}
	size := sizeOf(m)
	for i, was := range p.Part.Size {
		if d := was - size[i]; !(d <= onPlate && d >= -onPlate) {
			return p, nil, nil, fmt.Errorf("%s: part: size_mm: the plan was drawn for a part of %s mm, but %s measures %s mm; "+
				"take the part's own plan, or put the new size into it if the part was changed on purpose",
				path, times(p.Part.Size), partPath, times(size))
		}
	}
	if name := filepath.Base(partPath); p.Part.Name != name {
		warnings = append(warnings, fmt.Sprintf("the plan was drawn for %q, not %q", p.Part.Name, name))
	}
	if n := len(m.Triangles); p.Part.Triangles != n {
		warnings = append(warnings, fmt.Sprintf("the plan was drawn for a part of %d triangles, this one has %d", p.Part.Triangles, n))
	}
	for _, id := range p.Stranded() {
		warnings = append(warnings, fmt.Sprintf("post %s stands at its own place: the line that it was under is gone", id))
	}
	return p, data, warnings, nil
}

func sizeOf(m *mesh.Mesh) [3]float64 {
	b := m.Bounds()
	s := r3.Sub(b.Max, b.Min)
	return [3]float64{s.X, s.Y, s.Z}
}

// times writes a size as "56 × 40 × 8".
func times(v [3]float64) string {
	return fmt.Sprintf("%.5g × %.5g × %.5g", v[0], v[1], v[2])
}

// fileError puts the system's errors into the form of all others: the file, what
// is the matter, what to do. Errors that have that form pass unchanged.
func fileError(path string, err error) error {
	var sys *fs.PathError
	if !errors.As(err, &sys) {
		var link *os.LinkError
		if !errors.As(err, &link) {
			return err
		}
		sys = &fs.PathError{Op: link.Op, Path: link.New, Err: link.Err}
	}
	remedy := "check the path"
	switch {
	case errors.Is(err, fs.ErrPermission):
		remedy = "ask for permission, or name another path"
	case errors.Is(err, fs.ErrExist):
		remedy = "name another path"
	}
	return fmt.Errorf("%s: %w; %s", path, sys.Err, remedy)
}

// stem returns the name that outputs of a part begin with.
func stem(path string) string {
	base := filepath.Base(path)
	name := strings.TrimSuffix(base, filepath.Ext(base))
	if name == "" || name == "." {
		return "part"
	}
	return name
}
