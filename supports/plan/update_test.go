package plan

import (
	"bytes"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"falsework/supports"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// anyPlan draws a plan at random, with every kind of thing in it.
func anyPlan(t *rapid.T) Plan {
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	mm := rapid.Custom(func(t *rapid.T) float64 { return float64(rapid.IntRange(-90000, 90000).Draw(t, "µm")) / 1000 })
	size := rapid.Custom(func(t *rapid.T) float64 { return float64(rapid.IntRange(1, 20000).Draw(t, "µm")) / 1000 })
	author := rapid.SampledFrom([]Author{Tool, Designer})
	p := Plan{Version: Version, Part: Part{Name: rapid.StringMatching(`[a-z"'# :{}-]{1,12}`).Draw(t, "name"), Triangles: 12, Size: [3]float64{1, 2, 3}}, Settings: FromSettings(s)}
	if rapid.Bool().Draw(t, "taste") {
		p.Taste = Taste{Pad: 0.6, Unlinked: rapid.Bool().Draw(t, "unlinked"), Heights: []float64{0.12, 0.28}, Weights: Weights{Plastic: size.Draw(t, "weight")}}
	}
	ids := rapid.SliceOfNDistinct(rapid.StringMatching(`[A-Z][a-z0-9_.-]{0,3}`), 0, 12, rapid.ID).Draw(t, "ids")
	for _, id := range ids {
		switch rapid.IntRange(0, 6).Draw(t, "what") {
		case 5:
			p.Sheets = append(p.Sheets, Sheet{ID: id, At: [3]float64{mm.Draw(t, "x"), mm.Draw(t, "y"), size.Draw(t, "z")}, By: author.Draw(t, "by")})
		case 6:
			p.Steps = append(p.Steps, Steps{ID: id, At: [3]float64{mm.Draw(t, "x"), mm.Draw(t, "y"), size.Draw(t, "z")},
				Bore: size.Draw(t, "bore"), Direction: float64(rapid.IntRange(0, 180).Draw(t, "direction")), By: author.Draw(t, "by")})
		case 0:
			z := Zone{ID: id, Kind: rapid.SampledFrom([]Kind{KeepClean, MustHold}).Draw(t, "kind")}
			a := [3]float64{mm.Draw(t, "x"), mm.Draw(t, "y"), mm.Draw(t, "z")}
			switch rapid.IntRange(0, 2).Draw(t, "shape") {
			case 0:
				z.Box = &Box{a, [3]float64{a[0] + 1, a[1] + size.Draw(t, "dy"), a[2] + 1}}
			case 1:
				z.Cylinder = &Cylinder{a, [3]float64{a[0], a[1], a[2] + 3}, size.Draw(t, "r")}
			default:
				z.Face = &Face{a, [3]float64{0, 0, -1}}
			}
			p.Zones = append(p.Zones, z)
		case 1, 2:
			l := Line{ID: id, By: author.Draw(t, "by"), Tie: rapid.Bool().Draw(t, "tie")}
			for n := rapid.IntRange(2, 4).Draw(t, "points"); n > 0; n-- {
				l.At = append(l.At, [3]float64{mm.Draw(t, "x") + float64(200*n), mm.Draw(t, "y"), mm.Draw(t, "z")})
			}
			p.Lines = append(p.Lines, l)
		default:
			q := Post{ID: id, By: author.Draw(t, "by"), At: [2]float64{mm.Draw(t, "x"), mm.Draw(t, "y")}, Side: 5, Head: size.Draw(t, "head")}
			if rapid.Bool().Draw(t, "sole") {
				q.Side, q.Reach = 0, size.Draw(t, "reach")
				if rapid.Bool().Draw(t, "toed") {
					q.Toe = MostToe / 2
				}
			}
			p.Posts = append(p.Posts, q)
		}
	}
	if rapid.Bool().Draw(t, "remember") {
		p.Remember()
	}
	return p
}

// commented writes a plan as a person might have left it: comments above, beside
// and inside entries, empty lines, another indent.
func commented(t *rapid.T, data []byte) string {
	var out []string
	indent := rapid.SampledFrom([]int{0, 2, 5}).Draw(t, "indent")
	n := 0
	section := ""
	for _, l := range strings.Split(strings.TrimSuffix(string(data), "\n"), "\n") {
		if m := topKey.FindStringSubmatch(l); m != nil {
			section = m[1]
		}
		lists := section == "zones" || section == "lines" || section == "posts" || section == "sheets" || section == "steps"
		if lists && strings.HasPrefix(l, "  ") {
			l = strings.Repeat(" ", indent) + l[2:]
		}
		if !blank(l) {
			switch rapid.IntRange(0, 7).Draw(t, "comment") {
			case 0:
				l = fmt.Sprintf("%s# above %d\n%s", strings.Repeat(" ", rapid.IntRange(0, 6).Draw(t, "column")), n, l)
			case 1:
				l = fmt.Sprintf("%s  # beside %d", l, n)
			case 2:
				l = "\n" + l
			}
			n++
		}
		out = append(out, l)
	}
	text := strings.Join(out, "\n") + "\n# the end\n"
	if rapid.Bool().Draw(t, "crlf") {
		text = strings.ReplaceAll(text, "\n", "\r\n")
	}
	return text
}

// Whatever stands in a document and whatever is to stand in it: it then says that,
// with all comments, and what did not change is not touched.
func TestUpdateProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := anyPlan(t)
		data, err := a.Encode()
		if err != nil {
			t.Fatal(err)
		}
		text := commented(t, data)
		if _, err := Decode("x", []byte(text)); err != nil {
			t.Fatalf("%v\n%s", err, text)
		}
		if same, err := Update([]byte(text), a); err != nil || string(same) != text {
			t.Fatalf("nothing to change, and changed (%v):\n%s\n%s", err, text, same)
		}
		// Part of one plan and part of another, in any order.
		b := anyPlan(t)
		taken := map[string]bool{}
		for _, z := range b.Zones {
			taken[z.ID] = true
		}
		for _, id := range (Past{b.Lines, b.Posts, b.Sheets, b.Steps}).ids() {
			taken[id] = true
		}
		for _, h := range a.Sheets {
			if !taken[h.ID] && rapid.Bool().Draw(t, "keep") {
				if rapid.Bool().Draw(t, "edit") {
					h.At[1] += 1.5
				}
				b.Sheets = append(b.Sheets, h)
			}
		}
		for _, l := range a.Lines {
			if !taken[l.ID] && rapid.Bool().Draw(t, "keep") {
				if rapid.Bool().Draw(t, "edit") {
					l.At = slices.Clone(l.At)
					l.At[0][1] += 1.5
				}
				b.Lines = append(b.Lines, l)
			}
		}
		for _, q := range a.Posts {
			if !taken[q.ID] && rapid.Bool().Draw(t, "keep") {
				b.Posts = append(b.Posts, q)
			}
		}
		got, err := Update([]byte(text), b)
		if err != nil {
			t.Fatal(err)
		}
		p, err := Decode("x", got)
		if err != nil {
			t.Fatalf("%v\n%s", err, got)
		}
		if !same(p, b) {
			t.Fatalf("another plan (-want +got)\n%s", cmp.Diff(b, p))
		}
		if lost(text, string(got)) {
			t.Fatalf("a comment was lost:\n%s\n—\n%s", text, got)
		}
		again, err := Update(got, b)
		if err != nil || !bytes.Equal(again, got) {
			t.Fatalf("not settled (%v)", err)
		}
	})
}

// An entry that stays is not touched, one that changes keeps its comments, one
// that goes leaves them, and the user's own way of writing numbers stays.
func TestUpdateTouchesOnlyWhatChanges(t *testing.T) {
	p := small(t)
	p.Sheets, p.Steps = nil, nil
	data, err := p.Encode()
	if err != nil {
		t.Fatal(err)
	}
	text := strings.TrimPrefix(string(data), header)
	text = strings.Replace(text, "  - id: P1\n", "\n  # the tall one\n  - id: P1   # mine\n", 1)
	text = strings.Replace(text, "at: [14, 26]", "at: [ 14.00,26 ] # by the screw", 1)
	text = strings.Replace(text, "  - id: P2\n", "  # low\n  - id: P2\n", 1)
	q := p
	q.Posts = []Post{p.Posts[0]}
	q.Posts[0].Side = 6
	got, err := Update([]byte(text), q)
	if err != nil {
		t.Fatal(err)
	}
	want := strings.Replace(text, "side: 5\n", "side: 6\n", 1)
	want = strings.Replace(want, "[ 14.00,26 ]", "[14, 26]", 1) // of the entry that changed
	i := strings.Index(want, "  # low\n")
	want = want[:i] + "  # low\n"
	if d := cmp.Diff(want, string(got)); d != "" {
		t.Errorf("(-want +got)\n%s", d)
	}
}

// What a person does to a document that the program drew is the person's.
func TestReclaim(t *testing.T) {
	p := small(t)
	p.Lines[1].Posts = nil
	p.Lines = append(p.Lines, Line{ID: "L3", At: [][3]float64{{0, 0, 9}, {4, 0, 9}}, By: Tool})
	p.Posts = append(p.Posts, Post{ID: "P3", At: [2]float64{1, 1}, Reach: 2, By: Tool})
	p.Remember()
	if d := cmp.Diff(p, p.Reclaim()); d != "" {
		t.Errorf("untouched (-want +got)\n%s", d)
	}
	q := p
	q.Lines = slices.Delete(slices.Clone(p.Lines), 2, 3)
	q.Posts = slices.Delete(slices.Clone(p.Posts), 2, 3)
	q.Posts[0].At[0] += 5
	q.Posts = append(q.Posts, Post{ID: "P9", At: [2]float64{1, 2}, Reach: 2, By: Tool})
	got := q.Reclaim()
	want := q
	want.Posts = slices.Clone(q.Posts)
	want.Posts[0].By, want.Posts[2].By = Designer, Designer
	want.Struck = Past{Lines: p.Drawn.Lines[1:], Posts: p.Drawn.Posts[2:]}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("(-want +got)\n%s", d)
	}
	if d := cmp.Diff(got, got.Reclaim()); d != "" {
		t.Errorf("a second time (-want +got)\n%s", d)
	}
}

// What a structure of the designer's names stays with it: a line's post, the line
// that this post stands under.
func TestNamedIsTheDesigners(t *testing.T) {
	p := small(t)
	p.Posts[0].Under = "L1"
	q := p.Reclaim()
	if q.Posts[0].By != Designer || q.Lines[0].By != Designer || q.Posts[1].By != Tool {
		t.Errorf("%+v", q)
	}
	if p.Posts[0].By != Tool {
		t.Error("the plan itself was changed")
	}
}

func TestDiff(t *testing.T) {
	a := small(t)
	a.Zones = []Zone{{ID: "Z1", Kind: NoGo, Cylinder: &Cylinder{To: [3]float64{0, 0, 9}, Radius: 4}}}
	b := a
	b.Zones = nil
	b.Settings.Bridge = 7
	b.Lines = []Line{a.Lines[0], {ID: "L9", At: [][3]float64{{0, 0, 9}, {0, 3, 9}}, By: Designer}}
	b.Lines[0].At = [][3]float64{{3.24, 10.5, 30}, {0.24, 45.7, 30}}
	b.Posts = slices.Clone(a.Posts)
	b.Posts[0].At, b.Posts[0].By = [2]float64{17, 30}, Designer // 3, 4 → 5 mm
	b.Posts[1].Reach = 4
	b.Struck.Lines = []Line{{ID: "L2", At: a.Lines[1].At}}
	var got []string
	for _, c := range Diff(a, b) {
		got = append(got, c.String())
	}
	want := []string{
		"changed setting bridge_mm: 10 → 7",
		"removed zone Z1: was {kind: no-go, cylinder: {from: [0, 0, 0], to: [0, 0, 9], radius: 4}}",
		"moved line L1 by 5.00 mm: [0.24, 6.5, 30] to [0.24, 45.7, 30] → [3.24, 10.5, 30] to [0.24, 45.7, 30]",
		"added line L9: [0, 0, 9] to [0, 3, 9] (the designer's)",
		"struck line L2: was [1, 2, 30] to [5, 4, 30] (the designer's)",
		"moved post P1 by 5.00 mm: [14, 26] → [17, 30] (the designer's)",
		"pinned post P1 (the designer's)",
		"resized post P2: {reach: 2.5} → {reach: 4}",
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("(-want +got)\n%s", d)
	}
	if d := Diff(a, a); len(d) > 0 {
		t.Errorf("a plan differs from itself: %v", d)
	}
}

// Numbers are written the shortest way that reads back the same.
func TestNumbers(t *testing.T) {
	for _, v := range []float64{0.1, 1e-7, 1.0 / 3, -12.25, 1e9, math.Nextafter(4, 5)} {
		var back float64
		if _, err := fmt.Sscan(number(v), &back); err != nil || back != v {
			t.Errorf("%g is written %s", v, number(v))
		}
	}
}
