package mesh_test

import (
	"fmt"
	"html"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"falsework/mesh"

	"github.com/google/go-cmp/cmp"
)

// lib3mfCheck builds testdata/lib3mfcheck, which reads a file with the
// consortium's own library.
func lib3mfCheck(t *testing.T) string {
	t.Helper()
	gxx := referenceTool(t, "g++", "g++")
	const headers = "/usr/include/lib3mf"
	if _, err := os.Stat(headers); err != nil {
		missing(t, headers+" is missing; on Debian: apt-get install lib3mf-dev")
	}
	program := filepath.Join(t.TempDir(), "lib3mfcheck")
	source := filepath.Join("..", "testdata", "lib3mfcheck", "main.cpp")
	if out, err := exec.Command(gxx, "-Wall", "-I"+headers, source, "-l3MF", "-o", program).CombinedOutput(); err != nil {
		missing(t, fmt.Sprintf("building %s failed (it needs lib3mf-dev 1.8): %v\n%s", source, err, out))
	}
	return program
}

func TestReferenceLib3MF(t *testing.T) {
	check := lib3mfCheck(t)
	p := baked(t)
	alone := mesh.Package{Part: mesh.Body{Name: "cube", Mesh: cube}}
	many := mesh.Package{Title: "all", Part: mesh.Body{Name: "blob", Mesh: builtSolids(t)["blob"]}}
	for _, name := range []string{"comb", "star", "tube", "flared post", "wall", "pyramid", "two shells"} {
		many.Supports = append(many.Supports, mesh.Body{Name: name, Mesh: builtSolids(t)[name]})
	}
	// A number of one-line walls as one body of many shells.
	shells := mesh.Package{Part: p.Part, Supports: []mesh.Body{{Name: "supports", Mesh: p.Supports[0].Mesh.Clone()}}}
	shells.Supports[0].Mesh.Append(p.Supports[1].Mesh)

	// Pictures of objects, and the type that the standard has for supports.
	typed := baked(t)
	typed.SolidSupport, typed.Modified = true, "2026-02-01"
	typed.Part.Thumbnail, typed.Supports[0].Thumbnail = typed.Thumbnail, typed.Thumbnail

	for name, p := range map[string]mesh.Package{"typed": typed, "baked": p, "alone": alone, "many": many, "shells": shells} {
		path := filepath.Join(t.TempDir(), name+".3mf")
		if err := os.WriteFile(path, encode3MF(t, p), 0o644); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command(check, path).CombinedOutput()
		if err != nil {
			t.Errorf("%s: %v\n%s", name, err, out)
			continue
		}

		want := []string{"warnings 0", "millimetres yes"}
		for _, m := range [][2]string{{"Title", p.Title}, {"Designer", p.Designer}, {"Description", p.Description},
			{"LicenseTerms", p.License}, {"CreationDate", p.Created}, {"ModificationDate", p.Modified}, {"Application", p.Application}} {
			if m[1] != "" {
				want = append(want, "metadata "+m[0]+" = "+m[1])
			}
		}
		thumbnail := "thumbnail no"
		if p.Thumbnail != nil {
			thumbnail = "thumbnail yes"
		}
		want = append(want, thumbnail)
		bodies := append([]mesh.Body{p.Part}, p.Supports...)
		lo := bodies[0].Mesh.Bounds().Min
		for i, b := range bodies {
			kind := "yes"
			if p.SolidSupport && i > 0 {
				kind = "no"
			}
			want = append(want, fmt.Sprintf("mesh vertices=%d triangles=%d manifold=yes valid=yes model=%s name=%s",
				len(b.Mesh.Vertices), len(b.Mesh.Triangles), kind, b.Name))
			m := b.Mesh.Bounds().Min
			lo.X, lo.Y = min(lo.X, m.X), min(lo.Y, m.Y)
		}
		of := "mesh"
		if len(bodies) > 1 {
			of = "assembly"
			want = append(want, fmt.Sprintf("assembly components=%d valid=yes name=%s", len(bodies), p.Title))
		}
		want = append(want, fmt.Sprintf("item of=%s at=%.3f,%.3f,0.000", of, math.Ceil(-lo.X), math.Ceil(-lo.Y)))
		// lib3mf 1.8 hands out metadata with its references as they are.
		got := html.UnescapeString(strings.TrimSpace(string(out)))
		if d := cmp.Diff(strings.Join(want, "\n"), got); d != "" {
			t.Errorf("%s (-want +got):\n%s", name, d)
		}
	}
}
