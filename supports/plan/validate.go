package plan

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"

	"falsework/supports"
)

// maxCoordinate bounds every number of a plan, in mm; the largest printer would
// fit many times over.
const maxCoordinate = 1e4

// maxWeight bounds a weight: a day of printing for a gram, or a mm².
const maxWeight = 86400.0

// names are what an id may be.
var names = regexp.MustCompile(`^[A-Za-z][A-Za-z0-9_.-]{0,63}$`)

// fault is something wrong with what a plan says, and where it says it: keys and
// counts from 0.
type fault struct {
	at   []string
	text string
}

// Validate tells everything that is wrong with the plan itself.
func (p Plan) Validate() error {
	var errs []error
	for _, f := range p.faults() {
		errs = append(errs, errors.New(f.text))
	}
	return errors.Join(errs...)
}

// finite tells whether all numbers are within bounds; it is false for NaN.
func finite(list ...float64) bool {
	for _, v := range list {
		if !(math.Abs(v) <= maxCoordinate) {
			return false
		}
	}
	return true
}

// faults returns everything that is wrong with the plan itself.
func (p Plan) faults() []fault {
	c := checker{ids: map[string]bool{}, wall: p.Settings.Wall}
	s, err := p.Settings.Supports()
	if err != nil {
		c.bad([]string{"settings"}, "settings: %w", err)
	}
	if !finite(p.Part.Size[:]...) {
		c.bad([]string{"part", "size_mm"}, "part: a size is beyond %g mm", float64(maxCoordinate))
	}
	c.taste(p.Taste, s)
	if _, more := p.Resolve(); err == nil && more != nil {
		c.bad([]string{"taste", "layer_heights_mm"}, "taste: %w", more)
	}
	for i, z := range p.Zones {
		c.zone([]string{"zones", strconv.Itoa(i)}, z)
	}
	lines, posts := map[string]bool{"": true}, map[string]bool{}
	for _, q := range p.Posts {
		posts[q.ID] = true
	}
	for _, l := range p.Lines {
		lines[l.ID] = true
	}
	for i, q := range p.Posts {
		place := []string{"posts", strconv.Itoa(i)}
		c.claim(place, "post", q.ID)
		c.post(place, q)
		c.author(place, q.ID, q.By)
		if !lines[q.Under] && q.Reach <= 0 {
			c.bad(place, "post %s: there is no line %s to stand under", q.ID, q.Under)
		}
	}
	for i, l := range p.Lines {
		place := []string{"lines", strconv.Itoa(i)}
		c.claim(place, "line", l.ID)
		c.line(place, l)
		c.author(place, l.ID, l.By)
		for _, id := range l.Posts {
			if !posts[id] {
				c.bad(append(place, "posts"), "line %s: there is no post %s", l.ID, id)
			}
		}
	}
	for i, h := range p.Sheets {
		place := []string{"sheets", strconv.Itoa(i)}
		c.claim(place, "sheet", h.ID)
		c.sheet(place, h)
		c.author(place, h.ID, h.By)
	}
	for i, h := range p.Steps {
		place := []string{"steps", strconv.Itoa(i)}
		c.claim(place, "steps entry", h.ID)
		c.steps(place, h)
		c.author(place, h.ID, h.By)
	}
	c.past("struck", p.Struck)
	c.past("drawn", p.Drawn)
	return c.faults
}

type checker struct {
	faults []fault
	ids    map[string]bool
	wall   float64
}

func (c *checker) bad(at []string, format string, args ...any) {
	c.faults = append(c.faults, fault{slices.Clone(at), fmt.Errorf(format, args...).Error()})
}

func (c *checker) claim(at []string, kind, id string) {
	c.name(at, kind, id)
	if c.ids[id] && id != "" {
		c.bad(append(at, "id"), "id %s is used twice", id)
	}
	c.ids[id] = true
}

func (c *checker) name(at []string, kind, id string) {
	switch {
	case id == "":
		c.bad(at, "a %s has no id", kind)
	case !names.MatchString(id):
		c.bad(append(at, "id"), "id %q is not a letter with up to 63 letters, digits, points, - and _ after it", id)
	}
}

func (c *checker) author(at []string, id string, by Author) {
	if by != Tool && by != Designer {
		c.bad(append(at, "by"), "%s: by: %q is neither %s nor %s", id, by, Tool, Designer)
	}
}

func (c *checker) post(at []string, q Post) {
	if !finite(q.At[0], q.At[1], q.Head, q.Foot, q.Side, q.Reach, q.Toe) {
		c.bad(at, "post %s: a number is beyond ±%g mm", q.ID, float64(maxCoordinate))
	}
	if q.Side == 0 && q.Reach <= 0 && q.Under == "" {
		c.bad(at, "post %s: needs a side (a hollow post), a reach or the line that it is under (a sole)", q.ID)
	}
	if q.Side != 0 && q.Side < 2*c.wall {
		c.bad(append(at, "side"), "post %s: side %g mm leaves no room inside walls of %g mm", q.ID, q.Side, c.wall)
	}
	if q.Toe < 0 || q.Toe > MostToe || q.Toe > 0 && q.Side > 0 {
		c.bad(append(at, "toe"), "post %s: a sole's foot is widened by 0 to %g mm to either side, not by %g", q.ID, MostToe, q.Toe)
	}
	if q.Reach < 0 {
		c.bad(append(at, "reach"), "post %s: reach %g mm is no length", q.ID, q.Reach)
	}
	if q.Foot < 0 || q.Head < q.Foot && !(q.Head == 0 && q.Side > 0) {
		c.bad(append(at, "head"), "post %s: head %g mm is below its foot %g mm, or the foot below the plate", q.ID, q.Head, q.Foot)
	}
}

func (c *checker) line(at []string, l Line) {
	if len(l.At) < 2 {
		c.bad(append(at, "at"), "line %s: needs two points or more", l.ID)
	}
	length := 0.0
	for n, q := range l.At {
		if !finite(q[:]...) {
			c.bad(append(at, "at"), "line %s: point %d is beyond ±%g mm", l.ID, n+1, float64(maxCoordinate))
			return
		}
		if n > 0 {
			length += math.Hypot(q[0]-l.At[n-1][0], q[1]-l.At[n-1][1])
		}
	}
	if !finite(l.Round) || l.Round < 0 {
		c.bad(append(at, "round"), "line %s: round %g mm is no radius", l.ID, l.Round)
	}
	for i, n := range l.Relieved {
		if n < 1 || n >= len(l.At) || i > 0 && n <= l.Relieved[i-1] {
			c.bad(append(at, "relieved"), "line %s: relieved: has no straight %d, or names it out of turn: there are %d, counted from 1 upward", l.ID, n, max(0, len(l.At)-1))
		}
	}
	if l.Tie && len(l.Relieved) > 0 {
		c.bad(append(at, "relieved"), "line %s: relieved: a tie holds nothing as it is", l.ID)
	}
	if len(l.At) >= 2 && length < leastLine {
		c.bad(append(at, "at"), "line %s: is only %g mm long in plan view", l.ID, length)
	}
}

// leastLine is how long a line must be at least, in mm: less is a slip of the hand.
const leastLine = 0.05

func (c *checker) taste(t Taste, s supports.Settings) {
	// A pad narrower than its wall makes no sense, and one that stands out further
	// than a layer may would hang.
	if t.Teeth != 0 && !(t.Teeth >= 2*s.Line && t.Teeth <= mostTeeth) {
		c.bad([]string{"taste", "teeth_mm"}, "taste: teeth_mm: %g mm is outside %g to %g mm", t.Teeth, 2*s.Line, mostTeeth)
	}
	if most := s.Wall + min(mostFlange, 2*s.Reach()); t.Pad != 0 && !(t.Pad >= s.Wall-1e-9 && t.Pad <= most+1e-9) {
		c.bad([]string{"taste", "pad_mm"}, "taste: pad_mm: %g mm is outside %.4g to %.4g mm", t.Pad, s.Wall, most)
	}
	w := t.Weights
	for _, v := range [...]float64{w.Time, w.Plastic, w.Contact} {
		if !(v >= 0 && v <= maxWeight) {
			c.bad([]string{"taste", "weights"}, "taste: weights: %g is outside 0 to %g", v, maxWeight)
		}
	}
}

// mostTeeth is how far apart teeth may be, in mm: further and most lines have one.
const mostTeeth = 50.0

// mostFlange is how much thicker than its wall a pad may be, in mm: 0.8 mm in all at
// a nozzle of 0.4. Common practice, no source.
const mostFlange = 0.32

func (c *checker) zone(at []string, z Zone) {
	c.claim(at, "zone", z.ID)
	if z.Kind != KeepClean && z.Kind != MustHold && z.Kind != NoGo {
		c.bad(append(at, "kind"), "zone %s: kind: %q is none of %s, %s, %s", z.ID, z.Kind, KeepClean, MustHold, NoGo)
	}
	shapes := 0
	if b := z.Box; b != nil {
		shapes++
		if !finite(b.Min[:]...) || !finite(b.Max[:]...) {
			c.bad(append(at, "box"), "zone %s: a number is beyond ±%g mm", z.ID, float64(maxCoordinate))
		}
		for i := range b.Min {
			if !(b.Max[i] > b.Min[i]) {
				c.bad(append(at, "box"), "zone %s: box: max %g is not more than min %g", z.ID, b.Max[i], b.Min[i])
				break
			}
		}
	}
	if y := z.Cylinder; y != nil {
		shapes++
		if !finite(y.From[:]...) || !finite(y.To[:]...) || !finite(y.Radius) {
			c.bad(append(at, "cylinder"), "zone %s: a number is beyond ±%g mm", z.ID, float64(maxCoordinate))
		}
		if !(y.Radius > 0) || y.From == y.To {
			c.bad(append(at, "cylinder"), "zone %s: cylinder: needs a radius and two points for its axis", z.ID)
		}
	}
	if f := z.Face; f != nil {
		shapes++
		if !finite(f.At[:]...) || !finite(f.Normal[:]...) || f.Normal == [3]float64{} {
			c.bad(append(at, "face"), "zone %s: face: needs a point and a direction other than 0", z.ID)
		}
		if z.Kind == NoGo {
			c.bad(append(at, "face"), "zone %s: nothing can enter a face; give a %s zone a box or a cylinder", z.ID, NoGo)
		}
	}
	if shapes != 1 {
		c.bad(at, "zone %s: needs one of box, cylinder and face", z.ID)
	}
}

// past checks structures that are not built: only their numbers matter.
func (c *checker) past(key string, p Past) {
	for i, l := range p.Lines {
		place := []string{key, "lines", strconv.Itoa(i)}
		c.name(place, "line", l.ID)
		c.line(place, l)
	}
	for i, q := range p.Posts {
		place := []string{key, "posts", strconv.Itoa(i)}
		c.name(place, "post", q.ID)
		if !finite(q.At[0], q.At[1], q.Head, q.Foot, q.Side, q.Reach, q.Toe) {
			c.bad(place, "post %s: a number is beyond ±%g mm", q.ID, float64(maxCoordinate))
		}
	}
	for i, h := range p.Sheets {
		place := []string{key, "sheets", strconv.Itoa(i)}
		c.name(place, "sheet", h.ID)
		c.sheet(place, h)
	}
	for i, h := range p.Steps {
		place := []string{key, "steps", strconv.Itoa(i)}
		c.name(place, "steps entry", h.ID)
		c.steps(place, h)
	}
}
