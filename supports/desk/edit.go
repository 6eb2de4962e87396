package desk

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"

	"falsework/supports/grow"
	"falsework/supports/layout"
	"falsework/supports/plan"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// Edit is one change of a plan.
type Edit interface {
	// apply changes p, whose lists are the edit's own to change, for a part that may
	// stand in for one that is still to be cut.
	apply(p *plan.Plan, on *ground) error
}

// mostEdits bounds the edits of one request.
const mostEdits = 1000

// mostThings bounds the lines, posts and zones of a plan each: some ten times what a
// large part took.
const mostThings = 5000

// operations are the edits by name.
var operations = map[string]func() Edit{
	"add-post":  func() Edit { return &AddPost{} },
	"add-sheet": func() Edit { return &AddSheet{} },
	"add-steps": func() Edit { return &AddSteps{} },
	"add-line":  func() Edit { return &AddLine{} },
	"add-zone":  func() Edit { return &AddZone{} },
	"move":      func() Edit { return &Move{} },
	"set":       func() Edit { return &Set{} },
	"delete":    func() Edit { return &Delete{} },
	"settings":  func() Edit { return &SetSettings{} },
}

// Request is what asks for edits of one revision.
type Request struct {
	Base  int
	Edits []Edit
}

// DecodeRequest reads {"base": 3, "edits": [{"op": "move", …}, …]} strictly. An operation
// that this version does not know is a *Refused.
func DecodeRequest(data []byte) (Request, error) {
	var raw struct {
		Base  *int              `json:"base"`
		Edits []json.RawMessage `json:"edits"`
	}
	if err := strictly(data, &raw); err != nil {
		return Request{}, err
	}
	switch {
	case raw.Base == nil:
		return Request{}, errors.New("base is missing: the revision that is edited")
	case len(raw.Edits) == 0:
		return Request{}, errors.New("edits is empty")
	case len(raw.Edits) > mostEdits:
		return Request{}, fmt.Errorf("%d edits are more than %d at once", len(raw.Edits), mostEdits)
	}
	r := Request{Base: *raw.Base}
	for i, data := range raw.Edits {
		e, err := decodeEdit(data)
		if err != nil {
			return Request{}, fmt.Errorf("edits: number %d: %w", i+1, err)
		}
		r.Edits = append(r.Edits, e)
	}
	return r, nil
}

func decodeEdit(data []byte) (Edit, error) {
	var head struct {
		Op string `json:"op"`
	}
	if err := json.Unmarshal(data, &head); err != nil {
		return nil, err
	}
	make, known := operations[head.Op]
	if !known {
		return nil, fmt.Errorf("op %q is not known", head.Op)
	}
	e := make()
	if u, own := e.(json.Unmarshaler); own {
		return e, u.UnmarshalJSON(data)
	}
	return e, strictly(data, e)
}

// strictly decodes one JSON value that holds nothing unknown.
func strictly(data []byte, to any) error {
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.DisallowUnknownFields()
	if err := dec.Decode(to); err != nil {
		return err
	}
	if _, err := dec.Token(); err != io.EOF {
		return errors.New("something follows the value")
	}
	return nil
}

// copied returns a plan whose lists may be changed without changing p's.
func copied(p plan.Plan) plan.Plan {
	p.Zones, p.Lines, p.Posts = slices.Clone(p.Zones), slices.Clone(p.Lines), slices.Clone(p.Posts)
	for i := range p.Lines {
		p.Lines[i].At, p.Lines[i].Posts = slices.Clone(p.Lines[i].At), slices.Clone(p.Lines[i].Posts)
	}
	p.Sheets, p.Steps = slices.Clone(p.Sheets), slices.Clone(p.Steps)
	p.Taste.Heights = slices.Clone(p.Taste.Heights)
	return p
}

// full refuses more things than a plan may have.
func full(have int) error {
	if have >= mostThings {
		return &Refused{Reason: fmt.Sprintf("a plan has no more than %d of a kind", mostThings)}
	}
	return nil
}

// postSide is the outer width of a hollow post, in mm, that is set without one: at 30 mm
// of height it bends 0.07 mm under half a newton, as a cantilever of PLA.
const postSide = 5.0

// AddPost sets a hollow post.
type AddPost struct {
	Op   string     `json:"op"`
	At   [2]float64 `json:"at"`
	Side float64    `json:"side"` // mm; 0 means one that is usual
	// Foot is the height that it stands at. Without one it stands on the plate, or on the
	// part where that is in between.
	Foot *float64 `json:"foot"`
}

func (e *AddPost) apply(p *plan.Plan, on *ground) error {
	q := plan.Post{ID: p.Fresh("P"), At: e.At, Side: e.Side, By: plan.Designer}
	if q.Side == 0 {
		q.Side = postSide
	}
	if e.Foot != nil {
		q.Foot = *e.Foot
	} else {
		q.Foot = footOf(p, q, on)
	}
	p.Posts = append(p.Posts, q)
	return full(len(p.Posts) - 1)
}

// footOf returns the height that a post would stand at below the contact line nearest to
// it, 0 where there is none.
func footOf(p *plan.Plan, q plan.Post, on *ground) float64 {
	near, z := math.Inf(1), 0.0
	at := r2.Vec{X: q.At[0], Y: q.At[1]}
	for _, l := range p.Lines {
		for _, v := range l.At {
			if d := math.Hypot(v[0]-at.X, v[1]-at.Y); d < near {
				near, z = d, v[2]
			}
		}
	}
	if math.IsInf(near, 1) {
		return 0
	}
	s, err := p.Resolve()
	if err != nil {
		return 0
	}
	foot, _ := grow.Descend(on.layers, at, z-grow.WallDepth(s), q.Side/2)
	return foot
}

// AddLine draws a contact line, or a tie.
type AddLine struct {
	Op    string       `json:"op"`
	At    [][3]float64 `json:"at"`
	Tie   bool         `json:"tie"`
	Posts []string     `json:"posts"`
}

func (e *AddLine) apply(p *plan.Plan, _ *ground) error {
	letter := "L"
	if e.Tie {
		letter = "T"
	}
	p.Lines = append(p.Lines, plan.Line{ID: p.Fresh(letter), At: e.At, Tie: e.Tie, Posts: e.Posts, By: plan.Designer})
	return full(len(p.Lines) - 1)
}

// AddSheet closes the opening that a place lies in with a sheet, AddSteps builds bridging
// steps round the hole there.
type AddSheet struct {
	Op string     `json:"op"`
	At [3]float64 `json:"at"`
}

func (e *AddSheet) apply(p *plan.Plan, on *ground) error {
	q, err := layout.SheetAt(*p, on.mesh, on.layers, r3.Vec{X: e.At[0], Y: e.At[1], Z: e.At[2]})
	if err != nil {
		return &Refused{Reason: err.Error()}
	}
	p.Sheets = append(p.Sheets, q)
	return full(len(p.Sheets) - 1)
}

// AddSteps is told of at AddSheet.
type AddSteps struct {
	Op string     `json:"op"`
	At [3]float64 `json:"at"`
}

func (e *AddSteps) apply(p *plan.Plan, on *ground) error {
	q, err := layout.StepsAt(*p, on.mesh, on.layers, r3.Vec{X: e.At[0], Y: e.At[1], Z: e.At[2]})
	if err != nil {
		return &Refused{Reason: err.Error()}
	}
	p.Steps = append(p.Steps, q)
	return full(len(p.Steps) - 1)
}

// Place is where a zone is: one of the three.
type Place struct {
	Box      *plan.Box      `json:"box"`
	Cylinder *plan.Cylinder `json:"cylinder"`
	Face     *plan.Face     `json:"face"`
}

// AddZone marks a place with a wish.
type AddZone struct {
	Op   string    `json:"op"`
	Kind plan.Kind `json:"kind"`
	Place
}

func (e *AddZone) apply(p *plan.Plan, _ *ground) error {
	p.Zones = append(p.Zones, plan.Zone{ID: p.Fresh("Z"), Kind: e.Kind, Box: e.Box, Cylinder: e.Cylinder, Face: e.Face})
	return full(len(p.Zones) - 1)
}

// Move moves a post, a line or a zone in plan. What is moved is the designer's.
type Move struct {
	Op string     `json:"op"`
	ID string     `json:"id"`
	By [2]float64 `json:"by"` // mm
}

// moveReach is how much higher or lower, in mm, the underside may be where a line is moved
// to, besides what 45° would make of the way.
const moveReach = 2.0

func (e *Move) apply(p *plan.Plan, on *ground) error {
	dx, dy := e.By[0], e.By[1]
	if i := slices.IndexFunc(p.Posts, func(q plan.Post) bool { return q.ID == e.ID }); i >= 0 {
		q := &p.Posts[i]
		q.At = [2]float64{mm(q.At[0] + dx), mm(q.At[1] + dy)}
		if q.Under != "" {
			// It no longer goes where its line goes.
			q.Under = ""
			q.Reach = max(q.Reach, grow.SoleStep)
		}
		q.By = plan.Designer
		return nil
	}
	if i := slices.IndexFunc(p.Lines, func(l plan.Line) bool { return l.ID == e.ID }); i >= 0 {
		l := &p.Lines[i]
		for n := range l.At {
			v := &l.At[n]
			v[0], v[1] = mm(v[0]+dx), mm(v[1]+dy)
			if l.Tie {
				continue
			}
			if z, _, ok := on.under.Find(r2.Vec{X: v[0], Y: v[1]}, v[2], moveReach+math.Hypot(dx, dy)); ok {
				v[2] = mm(z)
			}
		}
		l.By = plan.Designer
		return nil
	}
	if i := slices.IndexFunc(p.Sheets, func(q plan.Sheet) bool { return q.ID == e.ID }); i >= 0 {
		q := &p.Sheets[i]
		q.At[0], q.At[1], q.By = mm(q.At[0]+dx), mm(q.At[1]+dy), plan.Designer
		return nil
	}
	if i := slices.IndexFunc(p.Steps, func(q plan.Steps) bool { return q.ID == e.ID }); i >= 0 {
		q := &p.Steps[i]
		q.At[0], q.At[1], q.By = mm(q.At[0]+dx), mm(q.At[1]+dy), plan.Designer
		return nil
	}
	if i := slices.IndexFunc(p.Zones, func(z plan.Zone) bool { return z.ID == e.ID }); i >= 0 {
		p.Zones[i] = moved(p.Zones[i], dx, dy)
		return nil
	}
	return missing(e.ID)
}

// moved returns a zone of its own, moved.
func moved(z plan.Zone, dx, dy float64) plan.Zone {
	shift := func(v *[3]float64) { v[0], v[1] = mm(v[0]+dx), mm(v[1]+dy) }
	switch {
	case z.Box != nil:
		b := *z.Box
		shift(&b.Min)
		shift(&b.Max)
		z.Box = &b
	case z.Cylinder != nil:
		c := *z.Cylinder
		shift(&c.From)
		shift(&c.To)
		z.Cylinder = &c
	case z.Face != nil:
		f := *z.Face
		shift(&f.At)
		z.Face = &f
	}
	return z
}

func missing(id string) error {
	return &Refused{id, "there is no such thing in the plan"}
}

// Delete takes a post, a line or a zone out, and its name out of what names it. A sole
// that stood under a deleted line and has no reach of its own goes with it.
type Delete struct {
	Op string `json:"op"`
	ID string `json:"id"`
}

func (e *Delete) apply(p *plan.Plan, _ *ground) error {
	was := len(p.Posts) + len(p.Lines) + len(p.Zones) + len(p.Sheets) + len(p.Steps)
	p.Posts = slices.DeleteFunc(p.Posts, func(q plan.Post) bool {
		return q.ID == e.ID || q.Under == e.ID && q.Under != "" && q.Reach <= 0
	})
	p.Lines = slices.DeleteFunc(p.Lines, func(l plan.Line) bool { return l.ID == e.ID })
	p.Zones = slices.DeleteFunc(p.Zones, func(z plan.Zone) bool { return z.ID == e.ID })
	p.Sheets = slices.DeleteFunc(p.Sheets, func(q plan.Sheet) bool { return q.ID == e.ID })
	p.Steps = slices.DeleteFunc(p.Steps, func(q plan.Steps) bool { return q.ID == e.ID })
	if len(p.Posts)+len(p.Lines)+len(p.Zones)+len(p.Sheets)+len(p.Steps) == was {
		return missing(e.ID)
	}
	left := map[string]bool{}
	for _, q := range p.Posts {
		left[q.ID] = true
	}
	for i := range p.Lines {
		p.Lines[i].Posts = slices.DeleteFunc(p.Lines[i].Posts, func(id string) bool { return !left[id] })
		if len(p.Lines[i].Posts) == 0 {
			p.Lines[i].Posts = nil
		}
	}
	return nil
}

// Set changes what a post, a line or a zone says. What is left out stays. A structure that
// is changed is the designer's, unless By says otherwise.
type Set struct {
	Op       string          `json:"op"`
	ID       string          `json:"id"`
	At       json.RawMessage `json:"at"` // [x, y] of a post, [[x, y, z], …] of a line
	Side     *float64        `json:"side"`
	Head     *float64        `json:"head"`
	Foot     *float64        `json:"foot"`
	Reach    *float64        `json:"reach"`
	Toe      *float64        `json:"toe"`
	Under    *string         `json:"under"`
	Tie      *bool           `json:"tie"`
	Round    *float64        `json:"round"`
	Posts    *[]string       `json:"posts"`
	Relieved *[]int          `json:"relieved"`
	By       *plan.Author    `json:"by"`
	Kind     *plan.Kind      `json:"kind"`

	Bore      *float64 `json:"bore"`      // of steps
	Direction *float64 `json:"direction"` // of steps, degrees from +X
	Place
}

// put stores a value that was given and tells so.
func put[T any](to *T, from *T) bool {
	if from == nil {
		return false
	}
	*to = *from
	return true
}

func (e *Set) apply(p *plan.Plan, _ *ground) error {
	steps := e.Bore != nil || e.Direction != nil
	post, line, zone := e.Side != nil || e.Head != nil || e.Foot != nil || e.Reach != nil || e.Toe != nil || e.Under != nil,
		e.Tie != nil || e.Round != nil || e.Relieved != nil || e.Posts != nil, e.Kind != nil || e.Place != (Place{})
	wrong := &Refused{e.ID, "it has no such field"}
	if i := slices.IndexFunc(p.Posts, func(q plan.Post) bool { return q.ID == e.ID }); i >= 0 {
		if line || zone || steps {
			return wrong
		}
		q := &p.Posts[i]
		if e.At != nil {
			if err := strictly(e.At, &q.At); err != nil {
				return fmt.Errorf("%s: at: %w", e.ID, err)
			}
		}
		put(&q.Side, e.Side)
		put(&q.Head, e.Head)
		put(&q.Foot, e.Foot)
		put(&q.Reach, e.Reach)
		put(&q.Toe, e.Toe)
		put(&q.Under, e.Under)
		if q.By = plan.Designer; e.By != nil {
			q.By = *e.By
		}
		return nil
	}
	if i := slices.IndexFunc(p.Lines, func(l plan.Line) bool { return l.ID == e.ID }); i >= 0 {
		if post || zone || steps {
			return wrong
		}
		l := &p.Lines[i]
		if e.At != nil {
			l.At = nil
			if err := strictly(e.At, &l.At); err != nil {
				return fmt.Errorf("%s: at: %w", e.ID, err)
			}
		}
		put(&l.Tie, e.Tie)
		put(&l.Round, e.Round)
		if gone := func(n int) bool { return n >= len(l.At) }; slices.ContainsFunc(l.Relieved, gone) {
			l.Relieved = slices.DeleteFunc(slices.Clone(l.Relieved), gone)
		}
		put(&l.Relieved, e.Relieved)
		if put(&l.Posts, e.Posts) && len(l.Posts) == 0 {
			l.Posts = nil
		}
		if l.By = plan.Designer; e.By != nil {
			l.By = *e.By
		}
		return nil
	}
	if i := slices.IndexFunc(p.Sheets, func(q plan.Sheet) bool { return q.ID == e.ID }); i >= 0 {
		if post || line || zone || steps {
			return wrong
		}
		q := &p.Sheets[i]
		return e.closing(&q.At, &q.By)
	}
	if i := slices.IndexFunc(p.Steps, func(q plan.Steps) bool { return q.ID == e.ID }); i >= 0 {
		if post || line || zone {
			return wrong
		}
		q := &p.Steps[i]
		put(&q.Bore, e.Bore)
		put(&q.Direction, e.Direction)
		return e.closing(&q.At, &q.By)
	}
	if i := slices.IndexFunc(p.Zones, func(z plan.Zone) bool { return z.ID == e.ID }); i >= 0 {
		if post || line || steps || e.At != nil || e.By != nil {
			return wrong
		}
		z := &p.Zones[i]
		put(&z.Kind, e.Kind)
		if e.Place != (Place{}) {
			z.Box, z.Cylinder, z.Face = e.Box, e.Cylinder, e.Face
		}
		return nil
	}
	return missing(e.ID)
}

// closing changes what sheets and steps have alike.
func (e *Set) closing(at *[3]float64, by *plan.Author) error {
	if e.At != nil {
		if err := strictly(e.At, at); err != nil {
			return fmt.Errorf("%s: at: %w", e.ID, err)
		}
	}
	if *by = plan.Designer; e.By != nil {
		*by = *e.By
	}
	return nil
}

// SetSettings changes fields of the plan's settings and taste, by their names in the
// document. What the plan derives from others, such as the wall, stays.
type SetSettings struct {
	fields map[string]json.RawMessage
}

// UnmarshalJSON takes every field but op.
func (e *SetSettings) UnmarshalJSON(data []byte) error {
	if err := json.Unmarshal(data, &e.fields); err != nil {
		return err
	}
	delete(e.fields, "op")
	if len(e.fields) == 0 {
		return errors.New("no setting is named")
	}
	return nil
}

func (e *SetSettings) apply(p *plan.Plan, _ *ground) error {
	settings, taste := fieldsOf(&p.Settings), fieldsOf(&p.Taste)
	for name, value := range e.fields {
		to, known := settings[name]
		if !known {
			to, known = taste[name]
		}
		if !known {
			return fmt.Errorf("there is no setting %q", name)
		}
		if err := fill(to, value); err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
	}
	s, err := p.Settings.Supports()
	if err != nil {
		return &Refused{Reason: err.Error()}
	}
	p.Settings = plan.FromSettings(s)
	return nil
}
