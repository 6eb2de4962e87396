package plan

import "slices"

// Version is the version of the document that this package writes. It reads that and
// those before: version 1 knew no taste, zones, struck and drawn, version 2 no sheets
// and steps.
const Version = 5

// Plan is a whole document. The zero value holds nothing.
type Plan struct {
	Version  int      `yaml:"falsework"`
	Part     Part     `yaml:"part"`
	Settings Settings `yaml:"settings"`
	Taste    Taste    `yaml:"taste,omitempty"`
	Zones    []Zone   `yaml:"zones,omitempty"`
	Lines    []Line   `yaml:"lines"`
	Posts    []Post   `yaml:"posts"`
	Sheets   []Sheet  `yaml:"sheets,omitempty"`
	Steps    []Steps  `yaml:"steps,omitempty"`
	// Struck are structures that the program may not draw again.
	Struck Past `yaml:"struck,omitempty"`
	// Drawn is what the program drew last: by it the next run tells what a person
	// has changed, added or deleted since.
	Drawn Past `yaml:"drawn,omitempty"`
}

// Part names the part that a plan was drawn for.
type Part struct {
	Name      string     `yaml:"name"`
	Triangles int        `yaml:"triangles"`
	Size      [3]float64 `yaml:"size_mm,flow"`
}

// Author says whose a structure is. One that does not say is the designer's.
type Author string

const (
	Tool     Author = "tool"     // laid out by the program, which may change it
	Designer Author = "designer" // placed by a person, never changed
)

// Line is a contact line under the part, and the wall below it.
type Line struct {
	ID string `yaml:"id"`
	// At lists the line's points: x, y, and the height of the underside that the
	// line holds there. The height picks the surface; where exactly the wall
	// ends below it is derived.
	At [][3]float64 `yaml:"at,flow"`
	// Posts names the posts that the wall gathers to; empty means any.
	Posts []string `yaml:"posts,flow,omitempty"`
	// Tie marks a line that holds no part of the model: it only joins walls. At
	// then gives the wall's top.
	Tie bool `yaml:"tie,omitempty"`
	// Round is the radius of the arcs, in mm, that the line turns its corners by, as far as
	// there is room on half of what runs up to them. At 0 corners are sharp.
	Round float64 `yaml:"round,omitempty"`
	// Relieved lists those straights of the line, counted from 1 for that from its first
	// point to its second, that hold no part of the model and only carry: the wall ends below
	// it there, and touches nothing.
	Relieved []int  `yaml:"relieved,flow,omitempty"`
	By       Author `yaml:"by,omitempty"`
}

// Post is where walls gather and go down.
type Post struct {
	ID string     `yaml:"id"`
	At [2]float64 `yaml:"at,flow"`
	// Side is the outer width of a hollow square post. A sole has none: walls
	// within Reach go straight down, or all of the line that Under names, and
	// with it the walls that meet it as far as Reach. A sole whose line was
	// deleted stands at its own place again.
	Side  float64 `yaml:"side,omitempty"`
	Reach float64 `yaml:"reach,omitempty"`
	Under string  `yaml:"under,omitempty"`
	// Toe is how much wider a sole's foot is on the plate, in mm to either side of its walls,
	// where there is room. With none, package grow widens a short one that would lever itself
	// off.
	Toe float64 `yaml:"toe,omitempty"`
	// Head is the height at which walls begin to spread: at most, for a post of
	// the designer's, which package grow lowers where walls could not be reached
	// otherwise. Of a hollow post 0 means as high as may be.
	Head float64 `yaml:"head,omitempty"`
	// Foot is the height that it stands at: 0 on the plate, else that of the
	// part's upper side below, which it keeps the gap from.
	Foot float64 `yaml:"foot,omitempty"`
	By   Author  `yaml:"by,omitempty"`
}

// MostToe bounds Post.Toe, in mm: narrowing upward by 45° to one line it is twelve layers.
const MostToe = 2.4

// Past is structures that are not, or not now, in the plan.
type Past struct {
	Lines  []Line  `yaml:"lines,omitempty"`
	Posts  []Post  `yaml:"posts,omitempty"`
	Sheets []Sheet `yaml:"sheets,omitempty"`
	Steps  []Steps `yaml:"steps,omitempty"`
}

// Empty tells whether there are none.
func (p Past) Empty() bool { return p.Count() == 0 }

// Count returns how many there are.
func (p Past) Count() int { return len(p.ids()) }

// Taste is what the designer likes, where the printer leaves a choice.
type Taste struct {
	// Pad is the thickness of a wall's top layers, where they meet the part, in
	// mm; 0 means that of the wall.
	Pad float64 `yaml:"pad_mm,omitempty"`
	// Teeth is how far apart, in mm along a line, the teeth stand that fuse it to the
	// part where the settings ask for that; 0 means DefaultTeeth, or so much further that
	// a hand breaks off what hangs together.
	Teeth float64 `yaml:"teeth_mm,omitempty"`
	// Unlinked leaves the ends of walls free that package grow would join by leaning walls.
	Unlinked bool    `yaml:"unlinked,omitempty"`
	Weights  Weights `yaml:"weights,omitempty"`
	// Heights are the layer heights that the supports must hold at besides the
	// settings' own, in mm: what strangers may print with.
	Heights []float64 `yaml:"layer_heights_mm,flow,omitempty"`
}

// DefaultTeeth is how far apart teeth stand, in mm: with one every 6 to 10 mm a line
// stays put and snaps off tooth by tooth. Common practice, no source.
const DefaultTeeth = 8.0

// Weights say what two layouts are compared by: the seconds of print time that
// each is worth. The zero value means time alone.
type Weights struct {
	Time    float64 `yaml:"time,omitempty"`      // a second of printing; 0 means 1
	Plastic float64 `yaml:"plastic_g,omitempty"` // a gram of plastic
	Contact float64 `yaml:"contact_mm2,omitempty"`
}

// Score returns what a layout costs in weighed seconds.
func (w Weights) Score(timeS, massG, contactMM2 float64) float64 {
	if w.Time == 0 {
		w.Time = 1
	}
	return w.Time*timeS + w.Plastic*massG + w.Contact*contactMM2
}

// Kind says what a zone asks for.
type Kind string

const (
	KeepClean Kind = "keep-clean" // no contact and no landing touches the part there
	MustHold  Kind = "must-hold"  // is held even where the rules would let it pass
	NoGo      Kind = "no-go"      // no support enters
)

// Zone is a place with a wish: a box, a cylinder, or a face of the part.
type Zone struct {
	ID       string    `yaml:"id"`
	Kind     Kind      `yaml:"kind"`
	Box      *Box      `yaml:"box,flow,omitempty"`
	Cylinder *Cylinder `yaml:"cylinder,flow,omitempty"`
	Face     *Face     `yaml:"face,flow,omitempty"`
}

// Box lies between two corners, along the axes.
type Box struct {
	Min [3]float64 `yaml:"min,flow"`
	Max [3]float64 `yaml:"max,flow"`
}

// Cylinder has its axis between two points.
type Cylinder struct {
	From   [3]float64 `yaml:"from,flow"`
	To     [3]float64 `yaml:"to,flow"`
	Radius float64    `yaml:"radius"`
}

// Face is picked by a point on it and the direction in which it looks out there.
// It goes on over edges at which it hardly turns.
type Face struct {
	At     [3]float64 `yaml:"at,flow"`
	Normal [3]float64 `yaml:"normal,flow"`
}

// Stranded returns the posts that stand under a line which the plan lacks.
func (p *Plan) Stranded() []string {
	lines := map[string]bool{"": true}
	for _, l := range p.Lines {
		lines[l.ID] = true
	}
	var out []string
	for _, q := range p.Posts {
		if !lines[q.Under] {
			out = append(out, q.ID)
		}
	}
	return out
}

// Remember notes what of the plan the program drew, for Reclaim.
func (p *Plan) Remember() {
	p.Drawn = Past{Sheets: drawn(p.Sheets), Steps: drawn(p.Steps)}
	for _, l := range p.Lines {
		if l.By == Tool {
			l.By = ""
			p.Drawn.Lines = append(p.Drawn.Lines, l)
		}
	}
	for _, q := range p.Posts {
		if q.By == Tool {
			q.By = ""
			p.Drawn.Posts = append(p.Drawn.Posts, q)
		}
	}
}

// Reclaim returns the plan with what a person has changed since the program drew
// it made the designer's: structures that stand otherwise than they were drawn,
// those of unknown origin, and what either of these names. What was drawn and is
// gone is struck.
func (p Plan) Reclaim() Plan {
	if p.Drawn.Empty() {
		return p.named() // drawn before there was a memory: by is all that tells
	}
	lines, posts := map[string]Line{}, map[string]Post{}
	for _, l := range p.Drawn.Lines {
		lines[l.ID] = l
	}
	for _, q := range p.Drawn.Posts {
		posts[q.ID] = q
	}
	p.Lines, p.Posts = slices.Clone(p.Lines), slices.Clone(p.Posts)
	p.Struck.Lines, p.Struck.Posts = slices.Clone(p.Struck.Lines), slices.Clone(p.Struck.Posts)
	p.Sheets, p.Struck.Sheets = claimed(p.Sheets, p.Drawn.Sheets, p.Struck.Sheets)
	p.Steps, p.Struck.Steps = claimed(p.Steps, p.Drawn.Steps, p.Struck.Steps)
	for i := range p.Lines {
		l := &p.Lines[i]
		was, drawn := lines[l.ID]
		if was.By = Tool; l.By == Tool && !(drawn && sameLine(*l, was)) {
			l.By = Designer
		}
		delete(lines, l.ID)
	}
	for i := range p.Posts {
		q := &p.Posts[i]
		was, drawn := posts[q.ID]
		if was.By = Tool; q.By == Tool && !(drawn && *q == was) {
			q.By = Designer
		}
		delete(posts, q.ID)
	}
	struck := map[string]bool{}
	for _, l := range p.Struck.Lines {
		struck[l.ID] = true
	}
	for _, q := range p.Struck.Posts {
		struck[q.ID] = true
	}
	for _, l := range p.Drawn.Lines {
		if _, gone := lines[l.ID]; gone && !struck[l.ID] {
			p.Struck.Lines = append(p.Struck.Lines, l)
		}
	}
	for _, q := range p.Drawn.Posts {
		if _, gone := posts[q.ID]; gone && !struck[q.ID] {
			p.Struck.Posts = append(p.Struck.Posts, q)
		}
	}
	return p.named()
}

// named makes the designer's what a structure of the designer's names: posts that a
// line gathers to, the line that a sole stands under.
func (p Plan) named() Plan {
	named := map[string]bool{}
	for _, l := range p.Lines {
		for _, id := range l.Posts {
			named[id] = named[id] || l.By == Designer
		}
	}
	for _, q := range p.Posts {
		if q.By == Designer || named[q.ID] {
			named[q.Under] = true
		}
	}
	p.Lines, p.Posts = slices.Clone(p.Lines), slices.Clone(p.Posts)
	for i := range p.Lines {
		if named[p.Lines[i].ID] {
			p.Lines[i].By = Designer
		}
	}
	for i := range p.Posts {
		if named[p.Posts[i].ID] {
			p.Posts[i].By = Designer
		}
	}
	return p
}

// sameLine tells whether two lines say the same.
func sameLine(a, b Line) bool {
	return a.ID == b.ID && a.Tie == b.Tie && a.Round == b.Round && a.By == b.By && slices.Equal(a.Relieved, b.Relieved) && slices.Equal(a.At, b.At) && slices.Equal(a.Posts, b.Posts)
}
