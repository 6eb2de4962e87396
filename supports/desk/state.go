package desk

import (
	"errors"
	"math"

	"falsework/raster"
	"falsework/supports/grow"
	"falsework/supports/layout"
	"falsework/supports/plan"
	"falsework/supports/prove"
	"falsework/supports/survey"

	"gonum.org/v1/gonum/spatial/r3"
)

// State is everything that a view of the desk shows, as it is at the moment. Lengths are
// mm, angles degrees.
type State struct {
	Revision      int        `json:"revision"`
	SavedRevision int        `json:"saved_revision"` // equal to Revision where nothing is unsaved
	CanUndo       bool       `json:"can_undo"`
	CanRedo       bool       `json:"can_redo"`
	PartName      string     `json:"part_name"`
	PlanPath      string     `json:"plan_path"`
	TurnDeg       [3]float64 `json:"turn_deg"`
	Plan          document   `json:"plan"`
	Ready         Ready      `json:"ready"`
	Working       *Working   `json:"working"`
	Need          NeedState  `json:"need"`
	Proof         ProofState `json:"proof"`
	Cost          *CostState `json:"cost"`
	Message       string     `json:"message,omitempty"`
}

// Ready tells which results belong to the newest revision; the others are of an earlier
// one.
type Ready struct {
	Need  bool `json:"need"`
	Grow  bool `json:"grow"`
	Proof bool `json:"proof"`
	Cost  bool `json:"cost"`
}

// Working is the stage at work.
type Working struct {
	Stage    string   `json:"stage"`
	Text     string   `json:"text"`
	Fraction *float64 `json:"fraction,omitempty"` // done, where that is known
}

// NeedState is what does not hold of the bare part.
type NeedState struct {
	AreaMM2 float64       `json:"area_mm2"`
	Regions []RegionState `json:"regions"`
}

// RegionState is one region of the need.
type RegionState struct {
	ID       int           `json:"id"`
	Kind     survey.Kind   `json:"kind"`
	Rule     survey.Rule   `json:"rule"`
	ZMM      [2]float64    `json:"z_mm"`
	AreaMM2  float64       `json:"area_mm2"`
	CenterMM [3]float64    `json:"center_mm"`
	Faces    []int         `json:"faces"` // triangles of the mesh that was sent
	Outlines []Outline     `json:"outlines"`
	Remedies []RemedyState `json:"remedies"`
}

// Outline is a polygon at a height.
type Outline struct {
	Polygon
	Z float64 `json:"z"`
}

// RemedyState is one way to do without supports.
type RemedyState struct {
	Name string `json:"name"`
	Text string `json:"text"`
}

// ProofState is what the proof found.
type ProofState struct {
	Verdict string        `json:"verdict"` // holds, fails, or unknown while it is not ready
	Reasons []ReasonState `json:"reasons"`
	Notes   []ReasonState `json:"notes"`
	Bodies  []BodyState   `json:"bodies"`
}

// ReasonState is one thing that is wrong at one place.
type ReasonState struct {
	Rule    prove.Kind `json:"rule"`
	Text    string     `json:"text"`
	AtMM    [3]float64 `json:"at_mm"`
	AreaMM2 float64    `json:"area_mm2,omitempty"`
	ID      string     `json:"id,omitempty"` // of the structure nearest to it, where one is concerned
	Remedy  string     `json:"remedy,omitempty"`
}

// BodyState is one connected piece of the supports, and which structures it is of.
type BodyState struct {
	Body int         `json:"body"`
	IDs  []string    `json:"ids"`
	Way  *[3]float64 `json:"way"` // out, of unit length; null where there is none
}

// CostState is what printing takes: the supports, and dense ones in their place.
type CostState struct {
	TimeS        float64  `json:"time_s"`
	MassG        float64  `json:"mass_g"`
	DenseTimeS   float64  `json:"dense_time_s"`
	DenseMassG   float64  `json:"dense_mass_g"`
	RatioTime    *float64 `json:"ratio_time"` // null where nothing dense is needed
	RatioPlastic *float64 `json:"ratio_plastic"`
	PrintTimeS   float64  `json:"print_time_s"` // of part and supports
}

// sheet is the plan as State has it: what was drawn and struck is the program's own.
type sheet struct {
	Settings plan.Settings `yaml:"settings"`
	Taste    plan.Taste    `yaml:"taste"`
	Zones    []plan.Zone   `yaml:"zones"`
	Lines    []plan.Line   `yaml:"lines"`
	Posts    []plan.Post   `yaml:"posts"`
	Sheets   []plan.Sheet  `yaml:"sheets"`
	Steps    []plan.Steps  `yaml:"steps"`
	Struck   plan.Past     `yaml:"struck"`
}

// ready is worked out with the lock held.
func (d *Desk) ready() Ready {
	r, rev := &d.done, d.revision
	v := d.history[d.at]
	var out Ready
	if s, err := v.plan.Resolve(); err == nil && r.need != nil {
		out.Need = r.need.ground.key == keyOf(v, s) && r.need.settings == v.plan.Settings
	}
	out.Grow = r.built != nil && r.built.of == rev
	out.Proof = r.proof != nil && r.proof.of == rev
	out.Cost = r.cost != nil && r.cost.of == rev
	return out
}

// State returns the desk's state. Faces of the need are triangles of the mesh that Sent
// returns.
func (d *Desk) State() State {
	d.mu.Lock()
	v := d.history[d.at]
	done := d.done
	s := State{
		Revision: d.revision, CanUndo: d.at > 0, CanRedo: d.at+1 < len(d.history),
		PartName: d.o.Name, TurnDeg: [3]float64{v.turn.XDeg, v.turn.YDeg, v.turn.ZDeg},
		Plan:  document{sheet{Settings: v.plan.Settings, Taste: v.plan.Taste, Zones: v.plan.Zones, Lines: v.plan.Lines, Posts: v.plan.Posts, Sheets: v.plan.Sheets, Steps: v.plan.Steps, Struck: v.plan.Struck}},
		Ready: d.ready(), Working: d.working, Message: d.message,
	}
	if !d.unsaved() {
		s.SavedRevision = s.Revision
	}
	d.mu.Unlock()
	s.Need = NeedState{Regions: []RegionState{}}
	if n := done.need; n != nil {
		n.once.Do(func() { n.state = needState(n, n.ground.send().Became) })
		s.Need = n.state
	}
	s.Proof = proofState(done.proof)
	if !s.Ready.Proof {
		s.Proof.Verdict = "unknown"
	}
	s.Cost = d.costState(done.cost)
	return s
}

// mm rounds a length, or an area, to what is worth sending.
func mm(v float64) float64 { return math.Round(v*1000) / 1000 }

func place(v r3.Vec) [3]float64 { return [3]float64{mm(v.X), mm(v.Y), mm(v.Z)} }

func needState(n *needed, sent []int) NeedState {
	out := NeedState{AreaMM2: mm(n.report.Need.AreaMM2), Regions: []RegionState{}}
	for i := range n.report.Findings {
		f := &n.report.Findings[i]
		r := RegionState{
			ID: f.ID, Kind: f.Kind, Rule: f.Rule, ZMM: [2]float64{mm(f.Bounds.Min.Z), mm(f.Bounds.Max.Z)},
			AreaMM2: mm(f.AreaMM2), CenterMM: place(f.Center), Faces: []int{}, Outlines: []Outline{}, Remedies: []RemedyState{},
		}
		for _, t := range f.Faces {
			if sent != nil {
				t = sent[t]
			}
			// Triangles of the file that became one lie side by side more often than not.
			if t >= 0 && (len(r.Faces) == 0 || r.Faces[len(r.Faces)-1] != t) {
				r.Faces = append(r.Faces, t)
			}
		}
		var all raster.Bits
		for c := range f.Cuts {
			cells := f.Cuts[c].All()
			all = raster.Or(&all, &cells)
		}
		for _, p := range polygonsOf(n.ground.layers.Grid, &all) {
			r.Outlines = append(r.Outlines, Outline{p, mm(f.Bounds.Min.Z)})
		}
		for _, re := range f.Remedies {
			r.Remedies = append(r.Remedies, RemedyState{re.Name, re.Text})
		}
		out.Regions = append(out.Regions, r)
	}
	return out
}

func proofState(p *proved) ProofState {
	out := ProofState{Verdict: "unknown", Reasons: []ReasonState{}, Notes: []ReasonState{}, Bodies: []BodyState{}}
	switch {
	case p == nil:
		return out
	case p.err != nil:
		out.Verdict = string(prove.Fails)
		out.Reasons = faultsOf(p.err)
		return out
	}
	out.Verdict = string(p.report.Verdict)
	tell := func(list []prove.Reason) []ReasonState {
		told := []ReasonState{}
		for _, r := range list {
			told = append(told, ReasonState{Rule: r.Kind, Text: r.Text, AtMM: place(r.At), AreaMM2: mm(r.AreaMM2), ID: r.ID, Remedy: r.Remedy})
		}
		return told
	}
	out.Reasons, out.Notes = tell(p.report.Reasons), tell(p.report.Notes)
	part := p.built.ground.mesh.Bounds()
	for i := range p.report.Bodies {
		b := &p.report.Bodies[i]
		s := BodyState{Body: b.ID, IDs: []string{}}
		if w := b.WayFrom(part).Vector(); w != (r3.Vec{}) {
			s.Way = &[3]float64{w.X, w.Y, w.Z}
		}
		for n, k := range p.bodies {
			if id := p.built.solids[n].ID; k == i && (len(s.IDs) == 0 || s.IDs[len(s.IDs)-1] != id) {
				s.IDs = append(s.IDs, id)
			}
		}
		out.Bodies = append(out.Bodies, s)
	}
	return out
}

func (d *Desk) costState(c *costed) *CostState {
	if c == nil {
		return nil
	}
	out := &CostState{TimeS: mm(c.supports.TimeS), MassG: mm(c.supports.MassG), DenseTimeS: mm(c.compare.Baseline.TimeS), DenseMassG: mm(c.compare.Baseline.MassG)}
	if !c.compare.NoBaseline {
		t, p := mm(c.compare.TimeRatio), mm(c.compare.PlasticRatio)
		out.RatioTime, out.RatioPlastic = &t, &p
	}
	out.PrintTimeS = mm(d.o.Machine.Total(c.body, c.supports).TimeS)
	return out
}

// fromBox returns how far a point is from a box, 0 inside.
func fromBox(p r3.Vec, b r3.Box) float64 {
	return math.Sqrt(r3.Norm2(r3.Vec{
		X: max(b.Min.X-p.X, 0, p.X-b.Max.X),
		Y: max(b.Min.Y-p.Y, 0, p.Y-b.Max.Y),
		Z: max(b.Min.Z-p.Z, 0, p.Z-b.Max.Z),
	}))
}

// Piece is a structure as it grew.
type Piece struct {
	grow.Solid
	Body int // of the proof, from 1; 0 where it is not known yet
}

// Supports returns the newest supports that grew, and of which revision they are.
func (d *Desk) Supports() (revision int, pieces []Piece) {
	d.mu.Lock()
	b, p := d.done.built, d.done.proof
	d.mu.Unlock()
	if b == nil {
		return 0, nil
	}
	for i, s := range b.solids {
		piece := Piece{Solid: s}
		if p != nil && p.built == b && p.bodies != nil {
			piece.Body = p.bodies[i] + 1
		}
		pieces = append(pieces, piece)
	}
	return b.of, pieces
}

// faultsOf tells why a plan cannot be built, one reason each.
func faultsOf(err error) []ReasonState {
	var impossible *layout.Impossible
	if !errors.As(err, &impossible) {
		return []ReasonState{{Rule: cannotBe, Text: err.Error()}}
	}
	var out []ReasonState
	for _, r := range impossible.Refusals {
		out = append(out, ReasonState{Rule: cannotBe, Text: r.ID + ": " + r.Reason, ID: r.ID, Remedy: "change it, or take it out of the plan"})
	}
	return out
}

// cannotBe is the rule that a plan breaks which cannot be built.
const cannotBe prove.Kind = "impossible"
