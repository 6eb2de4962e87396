package mesh

import (
	"fmt"
	"path/filepath"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"
)

// A Unit is what the numbers of a file count. The zero value is the one that the
// file states; STL and OBJ state none, and are millimetres.
type Unit struct {
	name string
	mm   float64
}

// units are those of the 3MF Core Specification 1.4, chapter 3.4, under its names,
// with their lengths by definition; the inch is 25.4 mm.
var units = []Unit{{"micron", 0.001}, {"millimeter", 1}, {"centimeter", 10}, {"inch", 25.4}, {"foot", 304.8}, {"meter", 1000}}

// String returns the unit's name, empty for the zero value.
func (u Unit) String() string { return strings.Replace(u.name, "meter", "metre", 1) }

// ParseUnit reads the name of a unit, in British spelling or that of 3MF.
func ParseUnit(name string) (Unit, error) {
	var known []string
	for _, u := range units {
		if name == u.name || name == u.String() {
			return u, nil
		}
		known = append(known, u.String())
	}
	return Unit{}, fmt.Errorf("%.40q is no unit; give %s", name, strings.Join(known, ", "))
}

// Extensions are those of the files that Read knows, in lower case.
var Extensions = []string{".stl", ".3mf", ".obj"}

// Read reads a file of any format, by the end of its name: 3MF, OBJ, and STL for all
// others. A unit that is given stands in for the one that the file states. STL and
// OBJ hold one body, without a name. Errors are those of DecodeSTL and Decode3MF.
func Read(path string, unit Unit) (Document, error) {
	if unit == (Unit{}) && !strings.EqualFold(filepath.Ext(path), ".3mf") {
		unit = Unit{"millimeter", 1}
	}
	read := readSTL
	switch strings.ToLower(filepath.Ext(path)) {
	case ".3mf":
		return read3MF(path, unit)
	case ".obj":
		read = readOBJ
	}
	m, notes, err := read(path, unit.mm)
	if err != nil {
		return Document{}, err
	}
	return Document{Bodies: []Body{{Mesh: m}}, Notes: notes}, nil
}

func (m *Mesh) scale(by float64) {
	if by == 1 {
		return
	}
	for i, v := range m.Vertices {
		m.Vertices[i] = r3.Scale(by, v)
	}
}
