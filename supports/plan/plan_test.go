package plan

import (
	"bytes"
	"strings"
	"testing"

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
			{ID: "L2", At: [][3]float64{{1, 2, 30}, {3, 4, 30}, {5, 4, 30}}, Posts: []string{"P1"}, By: Designer}},
		Posts: []Post{{ID: "P1", At: [2]float64{14, 26}, Side: 5, Head: 12.5, By: Tool},
			{ID: "P2", At: [2]float64{4, 6}, Reach: 2.5, By: Tool}},
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
		{"falsework: 1", "falsework: 7", "falsework: 7"},
		{"id: L2", "id: L1", "used twice"},
		{"posts: [P1]", "posts: [P9]", "no post P9"},
		{"side: 5.0", "side: 0.5", "leaves no room"},
		{"head: 12.5", "head: -1", "below its foot"},
		{"direction: any", "direction: sideways", "neither any nor an angle"},
		{"layer_mm: 0.2", "layer_mm: 0.6", "thicker than"},
		{"side: 5.0", "under: L9", "no line L9"},
		{"by: designer", "by: nobody", "neither tool nor designer"},
		{"\nlines:", "\nlyne:", "lyne"},
		{"[14.0, 26.0]", "[.nan, 26]", "beyond"},
		{"[14.0, 26.0]", "[14, 1e300]", "beyond"},
	} {
		data := strings.Replace(string(good), c.old, c.new, 1)
		if data == string(good) {
			t.Errorf("%q is not in the document:\n%s", c.old, good)
			continue
		}
		if _, err := Decode("x.plan.yaml", []byte(data)); err == nil || !strings.Contains(err.Error(), c.want) || !strings.Contains(err.Error(), "x.plan.yaml") {
			t.Errorf("%s → %s: error %v, want one with %q", c.old, c.new, err, c.want)
		}
	}
}

func FuzzDecode(f *testing.F) {
	f.Add([]byte("falsework: 1\n"))
	f.Add([]byte("lines: [{id: L1, at: [[1,2,3]]}]\n"))
	f.Add([]byte("&a [*a]"))
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := Decode("fuzz", data)
		if err != nil {
			return
		}
		if _, err := p.Encode(); err != nil {
			t.Errorf("a plan that was read cannot be written: %v", err)
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
