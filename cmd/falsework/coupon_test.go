package main

import (
	"encoding/json"
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"falsework/mesh"
	"falsework/supports/coupon"
)

// What coupon writes is what package coupon draws for the settings, and the form has
// each of its values, each reading and a caution.
func TestCoupon(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "new")
	code, stdout, stderr := call("coupon", "--out", dir, "--layer", "0.28", "--json", "--picture-width", "600")
	if code != exitHolds || stderr != "" {
		t.Fatalf("exit %d: %s", code, stderr)
	}
	var r couponReport
	if err := json.Unmarshal([]byte(stdout), &r); err != nil {
		t.Fatal(err)
	}
	files := folder(t, dir)
	names := []string{couponNames.model, couponNames.part, couponNames.supports, couponNames.form, couponNames.below, couponNames.threeQuarter}
	if len(files) != len(names) || len(r.Files) != len(names) {
		t.Errorf("wrote %s", namesOf(files))
	}
	s, err := (&printerOptions{layer: 0.28, set: newCouponCommand(streams{}).Flags()}).settings()
	if err != nil {
		t.Fatal(err)
	}
	s.Layer, s.First, s.Lean = 0.28, 0, 0
	c, err := coupon.New(s)
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]*mesh.Mesh{couponNames.part: c.Part, couponNames.supports: c.Supports} {
		m, _, err := mesh.ReadSTL(filepath.Join(dir, name))
		if err != nil || len(m.Triangles) != len(want.Triangles) || m.Bounds() != want.Bounds() {
			t.Errorf("%s: %v; %d triangles in %v, want %d in %v", name, err, len(m.Triangles), m.Bounds(), len(want.Triangles), want.Bounds())
		}
	}
	doc, err := mesh.Read3MF(filepath.Join(dir, couponNames.model))
	if err != nil || len(doc.Bodies) != 2 {
		t.Errorf("%d bodies: %v", len(doc.Bodies), err)
	}
	form := string(files[couponNames.form])
	for i, g := range r.Groups {
		for k, v := range g.Values {
			want := c.Groups[i].Items[k].Value
			if g.Name == string(coupon.Voids) {
				want *= 0.28
			}
			if math.Abs(v-want) > 1e-6 || !strings.Contains(form, "| "+fmt.Sprintf(couponReadings[c.Groups[i].Kind].value, v)+" ") {
				t.Errorf("%s %d: %g in the form, want %g", g.Name, k+1, v, want)
			}
		}
		if !strings.Contains(form, "\n"+g.Reading+": ____") {
			t.Errorf("the form has no line for %s", g.Reading)
		}
	}
	for _, want := range []string{"eye protection", "cool", "no strength calculation", "0.28 mm"} {
		if !strings.Contains(form, want) {
			t.Errorf("the form does not say %q", want)
		}
	}
	// Its lines for the printer file are read once the marks are gone.
	_, yaml, _ := strings.Cut(form, "```yaml\n")
	yaml, _, _ = strings.Cut(yaml, "```")
	p, err := decodePrinter("form", []byte(strings.ReplaceAll(yaml, "# ", "")))
	if err != nil || p.Limit == nil || p.Bridge == nil || p.Gap == nil || p.Ledge == nil || p.Adhesion == nil || p.Line == nil {
		t.Errorf("%v: %+v of\n%s", err, p.Readings, yaml)
	}
	// Cost takes what was written.
	priced := costJSON(t, filepath.Join(dir, couponNames.model), "--layer", "0.28")
	if priced.Supports.Print.TimeS != r.Print.TimeS {
		t.Errorf("coupon says %g s, cost %g s", r.Print.TimeS, priced.Supports.Print.TimeS)
	}
	code, _, stderr = call("coupon", "--out", dir)
	oneClearLine(t, stderr, "exists already", "--force")
	if code != exitRefused {
		t.Errorf("exit %d", code)
	}
}

func TestCouponUsage(t *testing.T) {
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"coupon"}, "--out is missing"},
		{[]string{"coupon", "x", "--out", "y"}, "takes no argument"},
		{[]string{"coupon", "--out", "y", "--limit", "89"}, "limit 89°"},
		{[]string{"coupon", "--out", "y", "--picture-width", "3"}, "--picture-width 3"},
	} {
		code, stdout, stderr := call(c.args...)
		if code != exitRefused || stdout != "" || !strings.Contains(stderr, c.want) || !strings.Contains(stderr, "Usage:") {
			t.Errorf("%q: exit %d, said %q, %q", c.args, code, stdout, stderr)
		}
	}
	code, stdout, _ := call("coupon", "--out", filepath.Join(t.TempDir(), "c"), "--no-pictures")
	if code != exitHolds {
		t.Errorf("exit %d", code)
	}
	_, help, _ := call("coupon", "--help")
	for _, read := range couponReadings {
		for what, text := range map[string]string{"help": help, "README": readme(t), "summary": stdout} {
			if !strings.Contains(text, read.field) {
				t.Errorf("the %s does not name %s", what, read.field)
			}
		}
	}
	for _, name := range []string{couponNames.model, couponNames.part, couponNames.supports, couponNames.form, couponNames.below, couponNames.threeQuarter} {
		if !strings.Contains(help, name) || !strings.Contains(readme(t), "`"+name+"`") {
			t.Errorf("help or README do not say what %s is", name)
		}
	}
}
