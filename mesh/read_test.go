package mesh_test

import (
	"math"
	"os"
	"path/filepath"
	"testing"

	"falsework/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// The same numbers in every format and unit: lengths by definition, the inch being
// 25.4 mm (3MF Core Specification 1.4, chapter 3.4).
func TestReadInUnits(t *testing.T) {
	dir := t.TempDir()
	write := func(name string, data []byte) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, data, 0o644); err != nil {
			t.Fatal(err)
		}
		return path
	}
	tenth := cube.Clone() // of side 0.1
	for i, v := range tenth.Vertices {
		tenth.Vertices[i] = r3.Scale(0.01, v)
	}
	tenth.Round32()
	files := []string{write("a.stl", encode(t, tenth, "")), write("b.OBJ", []byte(obj(tenth))), write("c.stl", []byte(ascii(tenth))),
		write("d.3mf", encode3MF(t, mesh.Package{Part: mesh.Body{Mesh: tenth}}))}
	for name, mm := range map[string]float64{"centimetre": 10, "centimeter": 10, "inch": 25.4, "foot": 304.8, "metre": 1000} {
		unit, err := mesh.ParseUnit(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, path := range files {
			doc, err := mesh.Read(path, unit)
			if err != nil {
				t.Errorf("%s: %s: %v", name, path, err)
				continue
			}
			side := float64(float32(0.1)) * mm
			if v := doc.Bodies[0].Mesh.Volume(); math.Abs(v/(side*side*side)-1) > 1e-9 {
				t.Errorf("%s: %s: volume %g, want %g", name, path, v, side*side*side)
			}
			if told := doc.Notes.Unit != ""; told != (filepath.Ext(path) == ".3mf") {
				t.Errorf("%s: %s: told of the file's own unit: %v", name, path, told)
			}
		}
	}
	for _, path := range files {
		for _, unit := range []string{"", "micron", "millimetre"} {
			u, err := mesh.ParseUnit(unit)
			if (err != nil) != (unit == "") {
				t.Fatal(unit, err)
			}
			if _, err := mesh.Read(path, u); err == nil {
				t.Errorf("%s: a part of a tenth of a millimetre was read", path)
			}
		}
	}
	for _, name := range []string{"", "mm", "ell", "Inch"} {
		if u, err := mesh.ParseUnit(name); err == nil {
			t.Errorf("%q is the %v", name, u)
		}
	}
}
