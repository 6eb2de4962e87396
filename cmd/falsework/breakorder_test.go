package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"
	"falsework/raster"
	"falsework/supports/prove"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// spool is two flanges on a column.
func spool(t *testing.T) string {
	t.Helper()
	at := r2.Vec{X: 8, Y: 8}
	m := &mesh.Mesh{}
	for _, c := range [][3]float64{{8, 0, 2}, {4, 2, 10}, {8, 10, 12}} {
		m.Append(mesh.Prism(mesh.RegularPolygon(at, c[0], 64, 0), c[1], c[2]))
	}
	var b bytes.Buffer
	if err := mesh.EncodeSTL(&b, m, "spool"); err != nil {
		t.Fatal(err)
	}
	return writeFile(t, "spool.stl", b.Bytes())
}

// Supports that a designer joins to a ring round a column do not come off whole. Sheet,
// listing, summary and JSON then tell step by step what is snapped, where, and which way
// each piece goes, as the proof found it, and the picture numbers the ring.
func TestBreakOrderIsTold(t *testing.T) {
	part, first, out := spool(t), filepath.Join(t.TempDir(), "first"), filepath.Join(t.TempDir(), "out")
	if code, _, stderr := call("bake", part, "--out", first, "--no-pictures"); code != 0 {
		t.Fatal(stderr)
	}
	text, err := os.ReadFile(filepath.Join(first, "spool.plan.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	// The drawing leaves the ring open; one contact line round the rim closes it.
	var ring []string
	for _, p := range mesh.RegularPolygon(r2.Vec{X: 8, Y: 8}, 7.4, 48, 0) {
		ring = append(ring, fmt.Sprintf("[%.2f, %.2f, 10]", p.X, p.Y))
	}
	closed := strings.Replace(string(text), "\nposts:\n", "\n  - {id: ring, at: ["+strings.Join(append(ring, ring[0]), ", ")+"]}\nposts:\n", 1)
	plan := writeFile(t, "ring.yaml", []byte(closed))
	code, stdout, stderr := call("bake", part, "--plan", plan, "--out", out, "--picture-width", "600")
	if code != 0 {
		t.Fatalf("exit code %d\n%s%s", code, stdout, stderr)
	}
	var proof struct {
		Proof struct {
			Bodies []struct {
				ID     int  `json:"id"`
				Locked bool `json:"blocked"`
				Pieces []struct {
					Way   string `json:"way"`
					Necks []struct {
						At    [3]float64 `json:"at_mm"`
						Force float64    `json:"force_n"`
					} `json:"necks"`
				} `json:"pieces"`
			} `json:"bodies"`
		} `json:"proof"`
	}
	files := folder(t, out)
	if err := json.Unmarshal(files["spool-proof.json"], &proof); err != nil {
		t.Fatal(err)
	}
	html, listing := string(files["spool-sheet.html"]), string(files["spool-listing.md"])
	steps := 0
	for _, b := range proof.Proof.Bodies {
		for n, q := range b.Pieces {
			steps++
			row := regexp.MustCompile(fmt.Sprintf(`(?m)^\| %d \| %d \| (.*) \| (.*) \|$`, b.ID, n+1)).FindStringSubmatch(listing)
			if row == nil {
				t.Fatalf("support %d, step %d has no row in\n%s", b.ID, n+1, listing)
			}
			for _, neck := range q.Necks {
				at := fmt.Sprintf("x %g, y %g, z %g mm (about %.2g N)", to(neck.At[0], 1), to(neck.At[1], 1), to(neck.At[2], 1), neck.Force)
				if !strings.Contains(row[1], at) || !strings.Contains(html, at) || !strings.Contains(stdout, at) {
					t.Errorf("support %d, step %d: %q is not told of it", b.ID, n+1, at)
				}
			}
			if !strings.Contains(row[2], "take what lies at x ") || !regexp.MustCompile(`(out to the \w+|straight (up|down))`).MatchString(row[2]) ||
				!strings.Contains(html, row[2]) || !strings.Contains(stdout, row[2]) {
				t.Errorf("support %d, step %d goes %q", b.ID, n+1, row[2])
			}
		}
	}
	if len(proof.Proof.Bodies) != 1 || !proof.Proof.Bodies[0].Locked || steps < 2 {
		t.Fatalf("%+v", proof.Proof.Bodies)
	}
	for name, text := range map[string]string{"sheet": html, "listing": listing} {
		for _, want := range []string{"Take support 1 off piece by piece", "step by step", "wear eye protection", fmt.Sprintf("in %d pieces, step by step as told below", steps)} {
			if !strings.Contains(text, want) {
				t.Errorf("the %s does not say %q", name, want)
			}
		}
	}
	// The JSON has the same steps.
	code, stdout, stderr = call("bake", part, "--plan", plan, "--out", out, "--force", "--no-pictures", "--json")
	if code != 0 {
		t.Fatal(stderr)
	}
	var result struct {
		Proof struct {
			InPieces int      `json:"bodies_in_pieces"`
			Order    []string `json:"break_order"`
		} `json:"proof"`
	}
	if err := json.Unmarshal([]byte(stdout), &result); err != nil || result.Proof.InPieces != 1 || len(result.Proof.Order) != steps ||
		!strings.HasPrefix(result.Proof.Order[0], "support 1, step 1: snap it at x ") {
		t.Errorf("%+v, %v", result.Proof, err)
	}
}

// What comes off whole has no steps.
func TestNoBreakOrder(t *testing.T) {
	files := bakedFiles(t, "bearing-block", "--no-pictures")
	for _, name := range []string{"bearing-block-sheet.html", "bearing-block-listing.md"} {
		if bytes.Contains(files[name], []byte("step by step")) || bytes.Contains(files[name], []byte("piece by piece")) {
			t.Errorf("%s tells steps", name)
		}
	}
}

// A support that stays, since it comes off in pieces, has its number in the picture where
// it stands, on the side that is seen.
func TestExplodedNumbersWhatStays(t *testing.T) {
	at := func(x float64) *mesh.Mesh {
		return meshtest.Box(r3.Vec{X: x, Y: 10}, r3.Vec{X: x + 4, Y: 14, Z: 8})
	}
	ring, post := at(0), at(20)
	both := ring.Clone()
	both.Append(post)
	d := drawing{part: meshtest.Box(r3.Vec{X: -5, Y: 5, Z: 10}, r3.Vec{X: 30, Y: 20, Z: 14}), supports: both, layers: raster.Layers{First: 0.2, Height: 0.2}}
	s, c := d.exploded([]prove.Body{{ID: 1, Bounds: ring.Bounds()}, {ID: 2, Bounds: post.Bounds(), WaysOut: []prove.Way{"down"}}})
	if len(s.Trails) != 1 || len(s.Labels) != 2 || s.Labels[1].Text != "1" {
		t.Fatalf("%+v, %+v", s.Trails, s.Labels)
	}
	mid := r3.Vec{X: 2, Y: 12, Z: 4}
	if off := r3.Sub(s.Labels[1].At, mid); r3.Norm(off) != 2 || r3.Dot(off, c.Look) >= 0 {
		t.Errorf("its number is at %v, seen along %v", s.Labels[1].At, c.Look)
	}
}
