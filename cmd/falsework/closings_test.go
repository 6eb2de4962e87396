package main

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Where a bridge reaches from wall to wall the pocket of the bearing block, Ø22 over
// Ø8, gets a sheet of one layer; where only the chord 2·√(11² − 4²) = 20.5 mm does, steps.
// Told is what to pierce, and by how much the seat comes lower.
func TestBakeClosesAPocket(t *testing.T) {
	for _, c := range []struct {
		bridge        string
		sheets, steps int
		pierced, low  float64
		says          string
	}{
		{"25", 1, 0, 16 * math.Pi, 0.2, "Pierce the sheet at x 17.0, y 17.0, z 7.0 mm"},
		{"23", 0, 1, 0, 0.6, "Leave the steps under the pocket's ceiling at x 17.0, y 17.0"},
	} {
		out := filepath.Join(t.TempDir(), "out")
		code, r := bakeJSON(t, partFile("bearing-block"), "--out", out, "--bridge", c.bridge)
		s := r.Supports
		if code != exitHolds || r.Proof.Verdict != "holds" || s.Sheets != c.sheets || s.Steps != c.steps || s.Lines+s.Posts+s.Bodies != 0 {
			t.Errorf("bridge %s: exit code %d, %s, %+v", c.bridge, code, r.Proof.Verdict, s)
		}
		if math.Abs(s.PiercedMM2-c.pierced) > 0.01*c.pierced || s.ShallowerMM != [2]float64{c.low, c.low} || r.Ratio.Time == nil || *r.Ratio.Time > 0.3 {
			t.Errorf("bridge %s: pierce %g mm², want %g; %v lower; ratio %v", c.bridge, s.PiercedMM2, c.pierced, s.ShallowerMM, r.Ratio)
		}
		listing, err := os.ReadFile(filepath.Join(out, "bearing-block-listing.md"))
		if err != nil || !strings.Contains(string(listing), c.says) {
			t.Errorf("the listing does not say %q (%v)\n%s", c.says, err, listing)
		}
		if nothing := "Nothing is to be pierced or drilled"; strings.Contains(string(listing), nothing) != (c.pierced == 0) {
			t.Errorf("bridge %s: %q", c.bridge, nothing)
		}
		// The plan that was written builds it again; the program tells both apart in the file.
		_, again := bakeJSON(t, partFile("bearing-block"), "--out", filepath.Join(out, "again"), "--plan", filepath.Join(out, "bearing-block.plan.yaml"))
		if again.Supports.TimeS != s.TimeS || again.Supports.Sheets != c.sheets || again.Supports.Steps != c.steps {
			t.Errorf("built from its plan: %+v", again.Supports)
		}
		code, stdout, stderr := call("prove", filepath.Join(out, "bearing-block.3mf"), "--bridge", c.bridge, "--json")
		var proved proveReport
		if err := json.Unmarshal([]byte(stdout), &proved); err != nil || code != exitHolds || len(proved.Proof.Sheets) != 1 {
			t.Errorf("prove: exit code %d, %d sheets, %v %s", code, len(proved.Proof.Sheets), err, stderr)
		}
	}
}

// The parts of the kit keep their supports where a bridge of 10 mm is too short.
func TestBakeKeepsSupportsUnderAWidePocket(t *testing.T) {
	_, r := bakeJSON(t, partFile("bearing-block"), "--out", filepath.Join(t.TempDir(), "out"))
	if r.Supports.Sheets+r.Supports.Steps != 0 || r.Supports.Bodies == 0 || r.Proof.Verdict != "holds" {
		t.Errorf("%+v", r.Supports)
	}
}

// A sheet written by hand is built, and one that cannot be is refused by its id.
func TestBakeBuildsASheetOnRequest(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "plan.yaml")
	write := func(text string) {
		if err := os.WriteFile(file, []byte("falsework: 4\npart: {name: bearing-block, triangles: 1200, size_mm: [34, 34, 16]}\n"+text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	write("settings: {bridge_mm: 22.5}\nsheets:\n- {id: S1, at: [17, 17, 7.2]} # closes the bore\n")
	code, r := bakeJSON(t, partFile("bearing-block"), "--out", filepath.Join(dir, "out"), "--plan", file)
	if code != exitHolds || r.Supports.Sheets != 1 {
		t.Errorf("exit code %d, %+v", code, r.Supports)
	}
	write("sheets:\n- {id: S1, at: [17, 17, 7.2]}\n")
	code, _, stderr := call("bake", partFile("bearing-block"), "--out", filepath.Join(dir, "second"), "--plan", file)
	if code != exitImpossible || !strings.Contains(stderr, "S1: needs a bridge of 22") {
		t.Errorf("exit code %d: %s", code, stderr)
	}
}
