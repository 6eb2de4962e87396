package desk

import (
	"fmt"
	"math"
	"strings"

	"falsework/raster"
	"falsework/supports/need"
	"falsework/supports/prove"
	"falsework/supports/survey"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// Answer tells of a place on the part whether it is held, by what, and what would help.
type Answer struct {
	Held     bool          `json:"held"`
	Text     string        `json:"text"`
	Rule     string        `json:"rule"` // what holds it, or what it breaks
	Region   int           `json:"region,omitempty"`
	By       []string      `json:"by"` // structures
	Remedies []RemedyState `json:"remedies"`
	Ready    bool          `json:"ready"` // of the newest plan
}

// probe is where a place on the part's surface lies in layers.
type probe struct {
	k     int         // layer whose underside is there
	cells raster.Bits // about it
}

// probeReach is how far about a place, in lines, its cells are looked for: a click is no
// surer.
const probeReach = 1.0

// Why answers for a place on the part, given the direction in which the surface looks
// there.
func (d *Desk) Why(at, normal r3.Vec) Answer {
	d.mu.Lock()
	g, n, p := d.grounds, d.done.need, d.done.proof
	v := d.history[d.at]
	a := Answer{By: []string{}, Remedies: []RemedyState{}, Ready: d.ready().Proof && d.ready().Need}
	d.mu.Unlock()
	s, err := v.plan.Resolve()
	if err != nil {
		a.Text = err.Error()
		return a
	}
	length := math.Sqrt(r3.Norm2(normal))
	down := 0.0 // how far the surface looks down: the sine of its lean
	if length > 0 {
		down = -normal.Z / length
	}
	switch {
	case at.Z <= s.First && down > 0.5:
		a.Held, a.Rule, a.Text = true, "plate", "It lies on the plate."
		return a
	case length > 0 && down <= 0:
		a.Held, a.Rule, a.Text = true, "below", "It does not look down: each layer lies on the one below."
		return a
	}
	q := probeOf(g.layers.Grid, g.layers.Layers, at, probeReach*s.Line)
	if n != nil && n.ground == g {
		if f := n.find(q); f != nil {
			a.Region, a.Rule = f.ID, string(f.Rule)
			for _, r := range f.Remedies {
				a.Remedies = append(a.Remedies, RemedyState{r.Name, r.Text})
			}
			a.Text = fmt.Sprintf("Region %d, a %s of %.3g mm²: alone it would fall by the rule of %s.", f.ID, f.Kind, f.AreaMM2, f.Rule)
		}
	}
	if p == nil || p.err != nil || p.built.ground != g {
		if a.Region == 0 {
			a.Held, a.Text = true, "Nothing is known against it; the proof is not done."
		}
		return a
	}
	q = probeOf(p.report.Grid, g.layers.Layers, at, probeReach*s.Line) // which may be wider
	switch {
	case q.hits(p.report.UnheldSpots, 1):
		a.Held = false
		if a.Rule == "" {
			a.Rule = string(prove.PartUnheld)
		}
		a.Text = strings.TrimSpace(a.Text + " Nothing that is drawn holds it.")
		a.Remedies = append([]RemedyState{{"contact line", p.helpAt(at)}}, a.Remedies...)
	case q.hits(p.report.Contacts, 1):
		a.Held, a.Rule = true, "contact"
		top := at
		top.Z -= max(0, s.Gap) + s.Layer
		a.By = append(a.By, p.built.at(top, 2*s.Line)...)
		a.Text = "It rests on supports across the gap."
		if len(a.By) > 0 {
			a.Text = fmt.Sprintf("It rests on %s across the gap.", strings.Join(a.By, ", "))
		}
	case q.hits(p.report.Bridges, 0):
		a.Held, a.Rule = true, "bridge"
		a.By = append(a.By, p.built.about(at, s.Bridge, s.Layer)...)
		a.Text = fmt.Sprintf("Straight lines of no more than %g mm cross the air here from landing to landing.", s.Bridge)
	default:
		a.Held, a.Rule = true, string(survey.Overhang)
		lean := math.Asin(min(1, max(0, down))) * 180 / math.Pi
		a.Text = fmt.Sprintf("It leans %.0f° from the vertical, and each layer stands out from the one below by no more than holds.", lean)
		if a.Region > 0 {
			a.By = append(a.By, p.built.about(at, s.Bridge, s.Layer)...)
			a.Text = fmt.Sprintf("It is part of region %d and is held by what is drawn beside it.", a.Region)
		}
	}
	return a
}

// helpAt says what the proof advises for the place that fails nearest to a point.
func (p *proved) helpAt(at r3.Vec) string {
	best, text := math.Inf(1), "hold this place with a contact line, or bring the lines round it closer"
	for _, r := range p.report.Reasons {
		if d := r3.Norm2(r3.Sub(r.At, at)); r.Kind == prove.PartUnheld && d < best {
			best, text = d, r.Remedy
		}
	}
	return text
}

// probeOf finds the layer and cells of a place on a surface that looks down.
func probeOf(grid raster.Grid, lay raster.Layers, at r3.Vec, reach float64) probe {
	i, j := grid.At(r2.Vec{X: at.X, Y: at.Y})
	one := raster.NewBits(i, j, i+1, j+1)
	one.Set(i, j)
	return probe{lay.Above(at.Z - 1e-6), raster.Dilate(&one, raster.DiscOf(reach/grid.Cell))}
}

// hits tells whether cells about the place are among those of its layer, or of so many
// layers beside it.
func (q *probe) hits(list []prove.Spot, beside int) bool {
	for i := range list {
		if s := &list[i]; s.K >= q.k-beside && s.K <= q.k+beside {
			if both := raster.And(&s.Cells, &q.cells); !both.Empty() {
				return true
			}
		}
	}
	return false
}

// find returns the region of the need that a place is in, nil for none.
func (n *needed) find(q probe) *survey.Finding {
	hit := func(c *need.Cut) bool {
		all := c.All()
		both := raster.And(&all, &q.cells)
		return !both.Empty()
	}
	for i := range n.report.Findings {
		f := &n.report.Findings[i]
		for c := range f.Cuts {
			if cut := &f.Cuts[c]; cut.K >= q.k-1 && cut.K <= q.k+1 && hit(cut) {
				return f
			}
		}
	}
	return nil
}

// mostBy bounds the structures that an answer names.
const mostBy = 6

// about returns the structures that end under a place's layer within reach of it.
func (b *built) about(at r3.Vec, reach, layer float64) []string {
	var out []string
	seen := map[string]bool{}
	for i, s := range b.solids {
		box := b.boxes[i]
		if seen[s.ID] || math.Abs(box.Max.Z-at.Z) > 4*layer {
			continue
		}
		p := r3.Vec{X: at.X, Y: at.Y, Z: box.Max.Z}
		if fromBox(p, box) <= reach && len(out) < mostBy {
			seen[s.ID] = true
			out = append(out, s.ID)
		}
	}
	return out
}
