package plan

import (
	"bytes"
	"errors"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"falsework/mesh"
	"falsework/supports"

	"github.com/google/go-cmp/cmp"
)

func small(t *testing.T) Plan {
	t.Helper()
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	return Plan{
		Version:  Version,
		Part:     Part{Name: "wall-bracket", Triangles: 824, Size: [3]float64{56, 46, 60}},
		Settings: FromSettings(s),
		Lines: []Line{{ID: "L1", At: [][3]float64{{0.24, 6.5, 30}, {0.24, 45.7, 30}}, By: Tool},
			{ID: "L2", At: [][3]float64{{1, 2, 30}, {3, 4, 30}, {5, 4, 30}}, Posts: []string{"P1"}, Round: 1.5, Relieved: []int{2}, By: Designer}},
		Posts: []Post{{ID: "P1", At: [2]float64{14, 26}, Side: 5, Head: 12.5, By: Tool},
			{ID: "P2", At: [2]float64{4, 6}, Reach: 2.5, By: Tool}},
		Sheets: []Sheet{{ID: "S1", At: [3]float64{26, 12, 3.4}, By: Tool}},
		Steps: []Steps{{ID: "B1", At: [3]float64{8.25, 12, 5.2}, Bore: 6.6, By: Designer},
			{ID: "B2", At: [3]float64{17, 17, 7.2}, Bore: 8, Direction: 30, By: Tool}},
	}
}

func TestRoundTrip(t *testing.T) {
	p := small(t)
	data, err := p.Encode()
	if err != nil {
		t.Fatal(err)
	}
	q, err := Decode("x.plan.yaml", data)
	if err != nil {
		t.Fatalf("%v\n%s", err, data)
	}
	if d := cmp.Diff(p, q); d != "" {
		t.Errorf("(-want +got)\n%s", d)
	}
	again, err := q.Encode()
	if err != nil || !bytes.Equal(again, data) {
		t.Errorf("second writing differs: %v\n%s", err, again)
	}
	s, err := q.Settings.Supports()
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(q.Settings, FromSettings(s)); d != "" {
		t.Errorf("settings do not survive (-want +got)\n%s", d)
	}
}

func TestDecodeRefuses(t *testing.T) {
	good, err := small(t).Encode()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ old, new, want string }{
		{"falsework: 5", "falsework: 7", "falsework: 7"},
		{"id: L2", "id: L1", "used twice"},
		{"posts: [P1]", "posts: [P9]", "no post P9"},
		{"side: 5", "side: 0.5", "leaves no room"},
		{"id: S1", "id: B1", "used twice"},
		{"at: [26, 12, 3.4]", "at: [26, 12]", "3 numbers"},
		{"at: [26, 12, 3.4]", "at: [26, 12, 0]", "no ceiling at z 0"},
		{"at: [26, 12, 3.4]", "at: [26, 12, 30000]", "beyond ±10000 mm"},
		{"id: B2", "id: 2B", "is not a letter"},
		{"bore: 6.6", "bore: -1", "no diameter"},
		{"direction: 30", "direction: 400", "beyond ±360°"},
		{"bore: 6.6", "width: 6.6", "unknown field"},
		{"head: 12.5", "head: -1", "below its foot"},
		{"direction: any", "direction: sideways", "neither any nor an angle"},
		{"layer_mm: 0.2", "layer_mm: 0.6", "thicker than"},
		{"side: 5", "under: L9", "no line L9"},
		{"by: designer", "by: nobody", "neither tool nor designer"},
		{"\nlines:", "\nlyne:", "lyne"},
		{"[14, 26]", "[.nan, 26]", "beyond"},
		{"[14, 26]", "[14, 1e300]", "beyond"},
	} {
		body := strings.TrimPrefix(string(good), header)
		data := header + strings.Replace(body, c.old, c.new, 1)
		if data == string(good) {
			t.Errorf("%q is not in the document:\n%s", c.old, good)
			continue
		}
		if _, err := Decode("x.plan.yaml", []byte(data)); err == nil || !strings.Contains(err.Error(), c.want) || !strings.Contains(err.Error(), "x.plan.yaml") {
			t.Errorf("%s → %s: error %v, want one with %q", c.old, c.new, err, c.want)
		}
	}
}

// Every error tells what kind it is and on which line.
func TestErrorsTellKindAndLine(t *testing.T) {
	for _, c := range []struct {
		text        string
		line        string
		unsupported bool
	}{
		{"falsework: 6\nlynes: []\n", "line 1", true}, // another version's words are not judged
		{"# one\nfalsework: 5\nlynes: []\n", "line 3", false},
		{"falsework: 5\nlines:\n- id: L1\n  at: [[1, 2], [1, 2, 3]]\n", "line 4", false},
		{"falsework: 5\nposts:\n- id: P1\n  at: [1, 2]\n  side: wide\n", "line 5", false},
		{"falsework: 5\nposts:\n- id: P1\n  at: [1, 2, 3]\n", "line 4", false},
		{"falsework: 5\nposts:\n- id: P1\n  at: [1, 2]\n  at: [1, 2]\n", "line 5", false},
		{"falsework: 5\nposts:\n- id: P1\n  at: [1, 2]\n  side: 4\n  foot: -2\n", "line 3", false},
		{"falsework: 5\nposts: &a\n- id: P1\n", "line 2", true},
		{"falsework: two\n", "", false},
		{"falsework: 5\npart: name: x\n", "line 2", false},
		{"falsework: 5\n? part\n", "line 2", true},
		{"falsework: 5\npart: {}\ntaste:\n  layer_heights_mm: [0.2, 0.9]\n", "line 4", false},
		{"lines: [\n", "line 1", false},
		{"solid\nfacet\n", "line 1", false},
		{"", "", false},
	} {
		_, err := Decode("x.yaml", []byte(c.text))
		var format *mesh.FormatError
		var unsupported *mesh.UnsupportedError
		if err == nil || errors.As(err, &unsupported) != c.unsupported || errors.As(err, &format) == c.unsupported {
			t.Errorf("%q: %T %v", c.text, err, err)
			continue
		}
		if !strings.Contains(err.Error(), "x.yaml") || !strings.Contains(err.Error(), c.line) {
			t.Errorf("%q: error %q does not tell %q", c.text, err, c.line)
		}
	}
}

// A bead 0.4 mm wide that keeps half its width on the one below leans
// atan(0.4/(2·0.28)) = 35.5° at layers of 0.28 mm, less the proof's 2°.
func TestDeclaredHeightsBoundTheLean(t *testing.T) {
	p := small(t)
	before, err := p.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	p.Taste.Heights = []float64{0.12, 0.28}
	s, err := p.Resolve()
	if want := math.Atan(0.4/0.56) - 2*math.Pi/180; err != nil || math.Abs(s.Lean-want) > 1e-9 {
		t.Errorf("lean %.4f, want %.4f (%v)", s.Lean, want, err)
	}
	if s.Lean, before.Heights = before.Lean, s.Heights; !reflect.DeepEqual(s, before) {
		t.Error("more than the lean changed")
	}
}

// Version 1 had neither zones nor a memory, version 2 neither sheets nor steps, version 3
// neither round corners nor toes, version 4 no relieved straights.
func TestReadsEarlierVersions(t *testing.T) {
	old := small(t)
	old.Sheets, old.Steps = nil, nil
	data, err := old.Encode()
	if err != nil {
		t.Fatal(err)
	}
	for _, was := range []string{"falsework: 1", "falsework: 2", "falsework: 3", "falsework: 4"} {
		text := bytes.Replace(data, []byte("falsework: 5"), []byte(was), 1)
		p, err := Decode("x", text)
		if err != nil || p.Version != Version {
			t.Errorf("%s: version %d: %v", was, p.Version, err)
		}
		// What is added makes it a document of today.
		p.Sheets = small(t).Sheets
		got, err := Update(text, p)
		if back, _ := Decode("x", got); err != nil || !same(back, p) || !bytes.Contains(got, []byte("falsework: 5")) {
			t.Errorf("%s: %v\n%s", was, err, got)
		}
	}
}

// A sheet that a person moves is theirs, one that they delete is struck.
func TestReclaimSheets(t *testing.T) {
	p := small(t)
	p.Remember()
	p.Sheets[0].At[0]++
	p.Steps = p.Steps[:1] // B2 is gone, B1 was the designer's all along
	got := p.Reclaim()
	if got.Sheets[0].By != Designer || len(got.Struck.Sheets) != 0 {
		t.Errorf("a moved sheet is %+v, struck %v", got.Sheets[0], got.Struck.Sheets)
	}
	if len(got.Struck.Steps) != 1 || got.Struck.Steps[0].ID != "B2" || got.Steps[0].By != Designer {
		t.Errorf("deleted steps leave %+v, struck %+v", got.Steps, got.Struck.Steps)
	}
	if again := got.Reclaim(); len(again.Struck.Steps) != 1 {
		t.Errorf("struck twice: %+v", again.Struck.Steps)
	}
}

func FuzzDecode(f *testing.F) {
	f.Add([]byte("falsework: 1\n"))
	f.Add([]byte("falsework: 5\nlines: [{id: L1, at: [[1,2,3]]}]\n"))
	f.Add([]byte("falsework: 5\nzones:\n- id: Z1 # here\n  box: {min: [0, 0, 0], max: [1, 1, 1]}\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := Decode("fuzz", data)
		if err != nil {
			return
		}
		if _, err := p.Encode(); err != nil {
			t.Errorf("a plan that was read cannot be written: %v", err)
		}
		more := p
		more.Posts = append(slices.Clone(p.Posts), Post{ID: "aNewPost", At: [2]float64{1, 2}, Side: 5, Head: 9, By: Tool})
		got, err := Update(data, more)
		if err != nil {
			if more.Validate() == nil {
				t.Errorf("a plan that was read cannot be updated: %v", err)
			}
			return
		}
		if back, err := Decode("fuzz", got); err != nil || !same(back, more) {
			t.Errorf("an update reads back as another plan: %v\n%s", err, got)
		}
	})
}

// A sole whose line was deleted is told, and stands at its own place.
func TestStranded(t *testing.T) {
	p := small(t)
	p.Posts = append(p.Posts, Post{ID: "P7", Under: "L1", Reach: 2, By: Designer}, Post{ID: "P8", Under: "L9", Reach: 2, By: Designer})
	if d := cmp.Diff([]string{"P8"}, p.Stranded()); d != "" {
		t.Errorf("stranded posts (-want +got)\n%s", d)
	}
	if _, err := p.Encode(); err != nil {
		t.Error(err)
	}
}

// Weights are what things are worth in seconds: none means time alone.
func TestScore(t *testing.T) {
	for _, c := range []struct {
		w    Weights
		want float64
	}{{Weights{}, 100}, {Weights{Plastic: 60}, 220}, {Weights{Time: 2, Contact: 0.5}, 205}} {
		if got := c.w.Score(100, 2, 10); got != c.want {
			t.Errorf("%+v: %g, want %g", c.w, got, c.want)
		}
	}
}

// A difference between two plans tells what became of sheets and steps.
func TestDiffTellsSheets(t *testing.T) {
	a := small(t)
	b := small(t)
	b.Sheets[0].At = [3]float64{29, 16, 3.4} // 3 and 4 mm aside
	b.Steps[0].Bore = 6.4
	b.Steps[1].By = Designer
	b.Sheets = append(b.Sheets, Sheet{ID: "S2", At: [3]float64{1, 2, 3}, By: Designer})
	var got []string
	for _, c := range Diff(a, b) {
		got = append(got, c.String())
	}
	b.Sheets, b.Steps = nil, nil
	b.Struck.Steps = []Steps{{ID: "B2", At: a.Steps[1].At}}
	for _, c := range Diff(a, b) {
		got = append(got, c.String())
	}
	want := []string{
		"moved sheet S1 by 5.00 mm: [26, 12, 3.4] → [29, 16, 3.4]", "added sheet S2: [1, 2, 3] (the designer's)",
		"resized steps B1: {bore: 6.6, direction: 0} → {bore: 6.4, direction: 0} (the designer's)", "pinned steps B2 (the designer's)",
		"removed sheet S1: was [26, 12, 3.4]", "removed steps B1: was [8.25, 12, 5.2] (the designer's)", "struck steps B2: was [17, 17, 7.2]",
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("(-want +got)\n%s", d)
	}
}
