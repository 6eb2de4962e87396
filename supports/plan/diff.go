package plan

import (
	"fmt"
	"math"
	"slices"

	"falsework/raster"

	"gonum.org/v1/gonum/spatial/r2"
)

// Op says what became of something between two plans.
type Op string

const (
	Added    Op = "added"
	Removed  Op = "removed"
	Struck   Op = "struck" // removed, and not to be drawn again
	Moved    Op = "moved"
	Resized  Op = "resized"
	Changed  Op = "changed"
	Pinned   Op = "pinned"   // the program's, now the designer's
	Released Op = "released" // the designer's, now the program's
)

// Change is one difference between two plans.
type Change struct {
	Op   Op     `json:"op"`
	What string `json:"what"` // line, tie, post, sheet, steps, zone, setting
	ID   string `json:"id"`
	By   Author `json:"by,omitempty"` // whose it is now, or was last
	// Distance is how far it moved, in mm: the furthest of its points.
	Distance float64 `json:"distance_mm,omitempty"`
	From     string  `json:"from,omitempty"`
	To       string  `json:"to,omitempty"`
}

func (c Change) String() string {
	text := fmt.Sprintf("%s %s %s", c.Op, c.What, c.ID)
	if c.Distance > 0 {
		text += fmt.Sprintf(" by %.2f mm", c.Distance)
	}
	switch {
	case c.From != "" && c.To != "":
		text += ": " + c.From + " → " + c.To
	case c.To != "":
		text += ": " + c.To
	case c.From != "":
		text += ": was " + c.From
	}
	if c.By == Designer {
		text += " (the designer's)"
	}
	return text
}

// Diff tells what became of each thing of plan a in plan b: settings, zones, lines,
// posts, sheets and steps, in b's order, then what is gone, in a's.
func Diff(a, b Plan) []Change {
	var out []Change
	out = append(out, settings(slices.Concat(a.Settings.fields(), a.Taste.fields()), slices.Concat(b.Settings.fields(), b.Taste.fields()))...)
	out = append(out, compare(a.Zones, b.Zones, func(z Zone) string { return z.ID }, zoneNow, zoneChange)...)
	gone := map[string]bool{}
	for _, id := range b.Struck.ids() {
		gone[id] = true
	}
	things := compare(a.Lines, b.Lines, func(l Line) string { return l.ID }, lineNow, lineChange)
	things = append(things, compare(a.Posts, b.Posts, func(q Post) string { return q.ID }, postNow, postChange)...)
	things = append(things, compare(a.Sheets, b.Sheets, Sheet.name, sheetNow, sheetChange)...)
	things = append(things, compare(a.Steps, b.Steps, Steps.name, stepsNow, stepsChange)...)
	for _, c := range things {
		if c.Op == Removed && gone[c.ID] {
			c.Op = Struck
		}
		out = append(out, c)
	}
	// Deleted by hand before, and found out now.
	return append(out, strikes(a, b)...)
}

// strikes tells what b strikes that a neither had nor struck.
func strikes(a, b Plan) []Change {
	known := map[string]bool{}
	for _, id := range slices.Concat(Past{a.Lines, a.Posts, a.Sheets, a.Steps}.ids(), a.Struck.ids()) {
		known[id] = true
	}
	var out []Change
	add := func(c Change) {
		if c.Op = Struck; !known[c.ID] {
			out = append(out, c)
		}
	}
	for _, l := range b.Struck.Lines {
		add(lineNow(l))
	}
	for _, q := range b.Struck.Posts {
		add(postNow(q))
	}
	for _, h := range b.Struck.Sheets {
		add(sheetNow(h))
	}
	for _, h := range b.Struck.Steps {
		add(stepsNow(h))
	}
	return out
}

func settings(a, b []field) []Change {
	find := func(list []field, key string) string {
		if i := slices.IndexFunc(list, func(f field) bool { return f.key == key }); i >= 0 {
			return list[i].value
		}
		return ""
	}
	var out []Change
	for _, f := range b {
		if was := find(a, f.key); was != f.value {
			out = append(out, Change{Op: Changed, What: "setting", ID: f.key, From: was, To: f.value})
		}
	}
	for _, f := range a {
		if find(b, f.key) == "" {
			out = append(out, Change{Op: Changed, What: "setting", ID: f.key, From: f.value})
		}
	}
	return out
}

// compare pairs two lists by id. now describes one thing, change what became of one.
func compare[T any](a, b []T, id func(T) string, now func(T) Change, change func(was, is T) []Change) []Change {
	old := map[string]int{}
	for i := range a {
		old[id(a[i])] = i
	}
	var out []Change
	stays := map[string]bool{}
	for _, v := range b {
		stays[id(v)] = true
		if i, ok := old[id(v)]; ok {
			out = append(out, change(a[i], v)...)
			continue
		}
		c := now(v)
		c.Op, c.To, c.From = Added, c.From, ""
		out = append(out, c)
	}
	for _, v := range a {
		if !stays[id(v)] {
			c := now(v)
			c.Op = Removed
			out = append(out, c)
		}
	}
	return out
}

func zoneNow(z Zone) Change {
	return Change{What: "zone", ID: z.ID, From: flow(z.fields()[1:])}
}

func zoneChange(was, is Zone) []Change {
	a, b := zoneNow(was), zoneNow(is)
	if a.From == b.From {
		return nil
	}
	b.Op, b.From, b.To = Changed, a.From, b.From
	return []Change{b}
}

func lineNow(l Line) Change {
	c := Change{What: "line", ID: l.ID, By: l.By}
	if l.Tie {
		c.What = "tie"
	}
	first, last := l.At[0], l.At[len(l.At)-1]
	c.From = vector(first[:]...) + " to " + vector(last[:]...)
	return c
}

func lineChange(was, is Line) []Change {
	var out []Change
	a, b := lineNow(was), lineNow(is)
	if !slices.Equal(was.At, is.At) {
		c := b
		c.Op, c.Distance = Moved, apart(was.At, is.At)
		if c.From, c.To = a.From, b.From; c.From == c.To {
			c.From, c.To = fmt.Sprintf("%d points", len(was.At)), fmt.Sprintf("%d points", len(is.At))
		}
		out = append(out, c)
	}
	if !slices.Equal(was.Posts, is.Posts) || was.Tie != is.Tie {
		c := b
		c.Op, c.From, c.To = Changed, "posts: "+words(was.Posts), "posts: "+words(is.Posts)
		out = append(out, c)
	}
	if was.Round != is.Round {
		c := b
		c.Op, c.From, c.To = Changed, "round: "+number(was.Round), "round: "+number(is.Round)
		out = append(out, c)
	}
	if !slices.Equal(was.Relieved, is.Relieved) {
		c := b
		c.Op, c.From, c.To = Changed, "relieved: "+counts(was.Relieved), "relieved: "+counts(is.Relieved)
		out = append(out, c)
	}
	return append(out, owner(b, was.By, is.By)...)
}

// owner tells that a thing changed hands.
func owner(c Change, was, is Author) []Change {
	c.From, c.To = "", ""
	switch c.Op = Pinned; {
	case was == is:
		return nil
	case is == Tool:
		c.Op = Released
	}
	return []Change{c}
}

func postNow(q Post) Change {
	return Change{What: "post", ID: q.ID, By: q.By, From: vector(q.At[:]...)}
}

func postChange(was, is Post) []Change {
	var out []Change
	b := postNow(is)
	if was.At != is.At {
		c := b
		c.Op, c.Distance = Moved, math.Hypot(was.At[0]-is.At[0], was.At[1]-is.At[1])
		c.From, c.To = vector(was.At[:]...), vector(is.At[:]...)
		out = append(out, c)
	}
	size := func(q Post) string {
		q.At, q.By = [2]float64{}, ""
		return flow(slices.DeleteFunc(q.fields(), func(f field) bool { return f.key == "id" || f.key == "at" }))
	}
	if from, to := size(was), size(is); from != to {
		c := b
		c.Op, c.From, c.To = Resized, from, to
		out = append(out, c)
	}
	return append(out, owner(b, was.By, is.By)...)
}

// apart returns how far the furthest point of either line is from the other line, in
// plan view, mm.
func apart(a, b [][3]float64) float64 {
	way := func(p, q [][3]float64) float64 {
		most := 0.0
		for _, v := range p {
			near := math.Inf(1)
			for i := 1; i < len(q); i++ {
				near = min(near, raster.SegmentDistance(r2.Vec{X: v[0], Y: v[1]}, r2.Vec{X: q[i-1][0], Y: q[i-1][1]}, r2.Vec{X: q[i][0], Y: q[i][1]}))
			}
			most = max(most, near)
		}
		return most
	}
	return max(way(a, b), way(b, a))
}
