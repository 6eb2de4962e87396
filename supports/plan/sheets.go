package plan

import (
	"math"
	"slices"
	"strconv"
)

// Sheet closes an opening under a ceiling with one layer, printed onto the part,
// so that the ceiling lies on it. What of it spans the ceiling's own holes is
// pierced after printing.
type Sheet struct {
	ID string `yaml:"id"`
	// At is a place in the opening, and the height of the ceiling over it. How far
	// the opening goes is found from the part.
	At [3]float64 `yaml:"at,flow"`
	By Author     `yaml:"by,omitempty"`
}

// Steps are bridging steps under the ceiling of a pocket, printed onto the part, so
// that a smaller hole in it stands on bridges. They stay.
type Steps struct {
	ID string `yaml:"id"`
	// At is on the hole's axis, at the height of the ceiling. How far the pocket goes
	// is found from the part.
	At [3]float64 `yaml:"at,flow"`
	// Bore is the diameter of the hole; 0 is found from the part.
	Bore float64 `yaml:"bore,omitempty"`
	// Direction is that of the lowest bridges, degrees from +X towards +Y.
	Direction float64 `yaml:"direction,omitempty"`
	By        Author  `yaml:"by,omitempty"`
}

func (h Sheet) fields() []field {
	return fields(field{"id", word(h.ID)}, field{"at", vector(h.At[:]...)}, field{"by", string(h.By)})
}

func (h Steps) fields() []field {
	return fields(field{"id", word(h.ID)}, field{"at", vector(h.At[:]...)}, field{"bore", some(h.Bore)},
		field{"direction", some(h.Direction)}, field{"by", string(h.By)})
}

func (h Sheet) name() string { return h.ID }
func (h Steps) name() string { return h.ID }

func (h Sheet) author() Author { return h.By }
func (h Steps) author() Author { return h.By }

func (h Sheet) of(by Author) Sheet { h.By = by; return h }
func (h Steps) of(by Author) Steps { h.By = by; return h }

// closing is either of them, which are remembered, claimed and struck alike.
type closing[T any] interface {
	comparable
	name() string
	author() Author
	of(Author) T
}

// drawn returns what of a list the program drew.
func drawn[T closing[T]](list []T) (out []T) {
	for _, v := range list {
		if v.author() == Tool {
			out = append(out, v.of(""))
		}
	}
	return out
}

// claimed returns a list with what is not as it was drawn made the designer's, and
// what is struck with what was drawn and is gone.
func claimed[T closing[T]](list, was, struck []T) (now, gone []T) {
	now, gone = slices.Clone(list), slices.Clone(struck)
	for i, v := range now {
		if v.author() == Tool && !slices.Contains(was, v.of("")) {
			now[i] = v.of(Designer)
		}
	}
	named := func(in []T, id string) bool {
		return slices.ContainsFunc(in, func(v T) bool { return v.name() == id })
	}
	for _, v := range was {
		if !named(list, v.name()) && !named(struck, v.name()) {
			gone = append(gone, v)
		}
	}
	return now, gone
}

// yours makes a structure without an author the designer's.
func yours[T closing[T]](list []T) {
	for i, v := range list {
		if v.author() == "" {
			list[i] = v.of(Designer)
		}
	}
}

func sheetNow(h Sheet) Change {
	return Change{What: "sheet", ID: h.ID, By: h.By, From: vector(h.At[:]...)}
}

func sheetChange(was, is Sheet) []Change {
	var out []Change
	b := sheetNow(is)
	if was.At != is.At {
		out = append(out, b.movedFrom(was.At, is.At))
	}
	return append(out, owner(b, was.By, is.By)...)
}

func stepsNow(h Steps) Change {
	return Change{What: "steps", ID: h.ID, By: h.By, From: vector(h.At[:]...)}
}

func stepsChange(was, is Steps) []Change {
	var out []Change
	b := stepsNow(is)
	if was.At != is.At {
		out = append(out, b.movedFrom(was.At, is.At))
	}
	size := func(h Steps) string {
		return flow(fields(field{"bore", some(h.Bore)}, field{"direction", number(h.Direction)}))
	}
	if from, to := size(was), size(is); from != to {
		c := b
		c.Op, c.From, c.To = Resized, from, to
		out = append(out, c)
	}
	return append(out, owner(b, was.By, is.By)...)
}

// movedFrom tells that what c is about stands elsewhere.
func (c Change) movedFrom(was, is [3]float64) Change {
	c.Op, c.From, c.To = Moved, vector(was[:]...), vector(is[:]...)
	c.Distance = math.Hypot(math.Hypot(was[0]-is[0], was[1]-is[1]), was[2]-is[2])
	return c
}

func (c *checker) sheet(at []string, h Sheet) {
	c.ceiling(at, "sheet", h.ID, h.At)
}

func (c *checker) steps(at []string, h Steps) {
	c.ceiling(at, "steps", h.ID, h.At)
	if !finite(h.Bore) || h.Bore < 0 {
		c.bad(append(at, "bore"), "steps %s: bore %g mm is no diameter", h.ID, h.Bore)
	}
	if !(math.Abs(h.Direction) <= 360) {
		c.bad(append(at, "direction"), "steps %s: direction %g° is beyond ±360°", h.ID, h.Direction)
	}
}

// ceiling checks the place of a ceiling.
func (c *checker) ceiling(at []string, kind, id string, p [3]float64) {
	switch {
	case !finite(p[:]...):
		c.bad(append(at, "at"), "%s %s: a number is beyond ±%g mm", kind, id, float64(maxCoordinate))
	case !(p[2] > 0):
		c.bad(append(at, "at"), "%s %s: there is no ceiling at z %g: give the height of the underside above the plate", kind, id, p[2])
	}
}

// text writes past structures, a line each.
func (p Past) text() []string {
	var out []string
	add := func(key string, list [][]field) {
		if len(list) > 0 {
			out = append(out, "  "+key+":")
		}
		for _, f := range list {
			out = append(out, "    - "+flow(f))
		}
	}
	add("lines", each(p.Lines, Line.fields))
	add("posts", each(p.Posts, Post.fields))
	add("sheets", each(p.Sheets, Sheet.fields))
	add("steps", each(p.Steps, Steps.fields))
	return out
}

func each[T, U any](list []T, f func(T) U) []U {
	out := make([]U, len(list))
	for i, v := range list {
		out[i] = f(v)
	}
	return out
}

// ids returns the ids of all structures, in order.
func (p Past) ids() []string {
	return slices.Concat(each(p.Lines, func(l Line) string { return l.ID }), each(p.Posts, func(q Post) string { return q.ID }),
		each(p.Sheets, Sheet.name), each(p.Steps, Steps.name))
}

// Fresh returns an id of a letter and a number that nothing in the plan has or had.
func (p Plan) Fresh(letter string) string {
	used := slices.Concat(Past{p.Lines, p.Posts, p.Sheets, p.Steps}.ids(), p.Struck.ids(), p.Drawn.ids(),
		each(p.Zones, func(z Zone) string { return z.ID }))
	for n := 1; ; n++ {
		if id := letter + strconv.Itoa(n); !slices.Contains(used, id) {
			return id
		}
	}
}
