package layout

import (
	"testing"

	"falsework/supports/plan"
)

// A layout that stands may cost a tenth more than one that does not, whichever is asked for;
// of two that stand, or do not, the cheaper is taken.
func TestRather(t *testing.T) {
	for _, c := range []struct {
		price, over, other, otherOver float64
		want                          bool
	}{
		{99, 0, 100, 0, true}, {101, 0, 100, 0, false},
		{99, 0.3, 100, 0.2, true}, {101, 0.1, 100, 0.2, false},
		{109, 0, 100, 0.2, true}, {111, 0, 100, 0.2, false},
		{100, 0.2, 109, 0, false}, {100, 0.2, 111, 0, true},
	} {
		if got := rather(c.price, c.over, c.other, c.otherOver); got != c.want {
			t.Errorf("%g, %g over, rather than %g, %g over: %v", c.price, c.over, c.other, c.otherOver, got)
		}
	}
}

// Changes name what they add by ids that the plan has not, and a rib has a sole of its own.
func TestChangesAreApplied(t *testing.T) {
	p := plan.Plan{
		Lines: []plan.Line{{ID: "L1"}, {ID: "T3", Tie: true}},
		Posts: []plan.Post{{ID: "P2", Reach: 2.5}, {ID: "P3", Side: 4}},
	}
	line := plan.Line{ID: "T1", Tie: true, By: plan.Tool, At: [][3]float64{{0, 0, 3}, {4, 2, 3}}}
	for _, c := range []change{
		{post: &plan.Post{ID: "P3", Side: 5}},
		{post: &plan.Post{ID: "P9", Side: 7}}, // which is gone
		{line: &line},
		{line: &line, sole: true, foot: 1.5},
	} {
		c.apply(&p)
	}
	ids := map[string]bool{}
	for _, l := range p.Lines {
		ids[l.ID] = true
	}
	for _, q := range p.Posts {
		ids[q.ID] = true
	}
	if len(p.Lines) != 4 || len(p.Posts) != 3 || len(ids) != 7 {
		t.Fatalf("lines %+v, posts %+v", p.Lines, p.Posts)
	}
	if p.Posts[1].Side != 5 {
		t.Errorf("the post became %+v", p.Posts[1])
	}
	if q := p.Posts[2]; q.Under != p.Lines[3].ID || q.At != [2]float64{2, 1} || q.Foot != 1.5 || q.Head != 1.5 || q.Side != 0 {
		t.Errorf("a rib %+v stands on %+v", p.Lines[3], q)
	}
}
