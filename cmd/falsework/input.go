package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/plan"

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

// readPart reads a part that stands on the plate, in mm, as STL or as 3MF with
// one body. Warnings say what is wrong with it and did not stop the work.
func readPart(path string) (m *mesh.Mesh, warnings []string, err error) {
	m, notes, err := readOne(path)
	if err != nil {
		return nil, nil, err
	}
	if warnings, err = settle(path, m, notes); err != nil {
		return nil, nil, err
	}
	return m, warnings, nil
}

// readLoosePart does so for a part that will be turned and set on the plate, wherever
// it is.
func readLoosePart(path string) (m *mesh.Mesh, warnings []string, err error) {
	m, notes, err := readOne(path)
	if err != nil {
		return nil, nil, err
	}
	if warnings, err = weigh(path, m, notes); err != nil {
		return nil, nil, err
	}
	return m, append(warnings, defects(m.Topology())...), nil
}

func readOne(path string) (m *mesh.Mesh, notes mesh.Notes, err error) {
	if strings.EqualFold(filepath.Ext(path), ".3mf") {
		m, notes, err = read3MF(path)
	} else {
		m, notes, err = mesh.ReadSTL(path)
	}
	if err != nil {
		return nil, notes, fileError(path, err)
	}
	return m, notes, nil
}

// settle rounds a part as files will and refuses one of no likely size or place.
func settle(path string, m *mesh.Mesh, notes mesh.Notes) (warnings []string, err error) {
	if warnings, err = weigh(path, m, notes); err != nil {
		return nil, err
	}
	if err := checkPlace(path, m); err != nil {
		return nil, err
	}
	return append(warnings, defects(m.Topology())...), nil
}

// weigh rounds a part as files will and refuses one of no likely size.
func weigh(path string, m *mesh.Mesh, notes mesh.Notes) (warnings []string, err error) {
	warnings = notes.Warnings()
	m.Round32()
	switch size := sizeOf(m); {
	case max(size[0], size[1], size[2]) < leastPart:
		return nil, &mesh.SizeError{File: path, Size: r3.Vec{X: size[0], Y: size[1], Z: size[2]},
			Problem: fmt.Sprintf("read as millimetres the part measures only %s mm", times(size)),
			Remedy:  "if it was drawn in inches scale it by 25.4, and export again"}
	case max(size[0], size[1], size[2]) < smallPart:
		warnings = append(warnings, fmt.Sprintf("the part measures only %s mm; was it drawn in inches?", times(size)))
	}
	return warnings, nil
}

func read3MF(path string) (*mesh.Mesh, mesh.Notes, error) {
	doc, err := mesh.Read3MF(path)
	if err != nil {
		return nil, mesh.Notes{}, err
	}
	if n := len(doc.Bodies); n != 1 {
		return nil, mesh.Notes{}, &mesh.UnsupportedError{File: path, Problem: fmt.Sprintf("holds %d bodies", n),
			Remedy: "give a file with the part alone"}
	}
	return doc.Bodies[0].Mesh, doc.Notes, nil
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
