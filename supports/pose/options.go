package pose

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"falsework/mesh"
	"falsework/supports"
	"falsework/supports/cost"

	"gonum.org/v1/gonum/spatial/r3"
)

// Options say what poses are ranked for. A zero field means its default.
type Options struct {
	Settings supports.Settings
	Machine  cost.Machine
	Loads    []Load   // none
	Clean    []r3.Vec // directions that the faces look in which are to be kept clean, of any length but zero; none
	// CleanShares is how much of each triangle of the part is to be kept clean
	// besides, from 0 to 1, as zones of a plan have it; empty: none.
	CleanShares []float64
	Weights     Weights
	Workers     int // at work at once; 0: one for each processor. Results do not depend on it
}

func (o Options) resolve() (Options, error) {
	var err error
	if o.Settings, err = o.Settings.Resolve(); err != nil {
		return o, fmt.Errorf("pose: settings: %w", err)
	}
	if o.Machine, err = o.Machine.Resolve(); err != nil {
		return o, fmt.Errorf("pose: machine: %w", err)
	}
	for i, l := range o.Loads {
		if !(r3.Norm2(l.Dir) > 0) || math.IsInf(r3.Norm2(l.Dir), 0) || !(l.Weight >= 0) || math.IsInf(l.Weight, 0) {
			return o, fmt.Errorf("pose: load %d has no direction, or a weight below 0", i)
		}
	}
	clean := make([]r3.Vec, len(o.Clean))
	for i, d := range o.Clean {
		if !(r3.Norm2(d) > 0) || math.IsInf(r3.Norm2(d), 0) {
			return o, fmt.Errorf("pose: clean faces %d have no direction", i)
		}
		clean[i] = r3.Unit(d)
	}
	o.Clean = clean
	if o.Weights == (Weights{}) {
		o.Weights = DefaultWeights
	}
	return o, nil
}

// kept returns how much of each triangle of a part is to be kept clean; nil if nothing
// is. The options are resolved.
func (o Options) kept(m *mesh.Mesh) ([]float64, error) {
	n := len(m.Triangles)
	if len(o.CleanShares) > 0 && len(o.CleanShares) != n {
		return nil, fmt.Errorf("pose: shares to be kept clean of %d triangles, but the part has %d", len(o.CleanShares), n)
	}
	if len(o.CleanShares) == 0 && len(o.Clean) == 0 {
		return nil, nil
	}
	out := make([]float64, n)
	copy(out, o.CleanShares)
	for t := range out {
		for _, d := range o.Clean {
			if inCone(m.AreaNormal(t), d) {
				out[t] = 1
			}
		}
	}
	return out, nil
}

// cosClean is the cosine of how far a face's normal may be from a direction whose
// faces are kept clean, 30°: faces of one side, its rounded edges left out. A choice
// of ours.
var cosClean = math.Cos(30 * math.Pi / 180)

// inCone tells whether a normal of any length looks in a unit direction, or nearly.
func inCone(normal, d r3.Vec) bool {
	c := r3.Dot(normal, d)
	return c > 0 && c*c >= cosClean*cosClean*r3.Norm2(normal)
}

// Criterion is one of the things that poses are weighed by.
type Criterion int

const (
	Time     Criterion = iota // of printing the supports, s
	Plastic                   // of the supports, mm³
	Contact                   // of supports with the part, mm² in plan
	Height                    // of the part, mm
	Slender                   // height over the square root of the first layer's area
	Tipping                   // angle by which the part may be tilted before it falls, radians; more is better
	Layers                    // weakness across layers in the load directions, 1 or more
	Clean                     // of faces to keep clean that need holding, mm² in plan
	Criteria                  // how many there are
)

var criterionNames = [Criteria]string{"time", "plastic", "contact", "height", "slender", "tipping", "layers", "clean"}

// String returns the word that weights are given under.
func (c Criterion) String() string {
	if c < 0 || c >= Criteria {
		return fmt.Sprintf("criterion %d", int(c))
	}
	return criterionNames[c]
}

// Measures holds the value of each criterion for one pose, in the criterion's unit.
type Measures [Criteria]float64

// Weights say how much each criterion counts. The zero value is DefaultWeights: by
// nothing at all no pose would be better.
type Weights [Criteria]float64

// DefaultWeights count every criterion alike, with points as they are.
var DefaultWeights = Weights{1, 1, 1, 1, 1, 1, 1, 1}

// What makes one point, a choice of ours with no source: so much of one criterion is
// taken to weigh as much as so much of another, whatever the part.
var onePoint = Measures{
	Time:    600,               // ten minutes
	Plastic: 1600,              // two grams of PLA
	Contact: 100,               // a square of 10 mm to clean up
	Height:  50,                // two hundred layers more or so that may go wrong
	Slender: 10,                // a mast 10 times as high as it is wide
	Tipping: 5 * math.Pi / 180, // short of standsFirmly
	Layers:  0.25,              // a quarter weaker
	Clean:   50,
}

// standsFirmly is the margin in radians from which more is no better. Common
// practice, no source.
const standsFirmly = 15 * math.Pi / 180

// points returns what a value costs under a weight of 1; less is better.
func (c Criterion) points(v float64) float64 {
	switch c {
	case Tipping:
		v = max(0, standsFirmly-v)
	case Layers:
		v--
	}
	return v / onePoint[c]
}

// Points returns what measures cost in all; less is better.
func (w Weights) Points(m Measures) float64 {
	sum := 0.0
	for c := range Criteria {
		if w[c] != 0 {
			sum += w[c] * c.points(m[c])
		}
	}
	return sum
}

// ParseWeights reads "time=2,height=0"; criteria that are not named have their
// defaults. Errors name the word at fault.
func ParseWeights(text string) (Weights, error) {
	w := DefaultWeights
	if strings.TrimSpace(text) == "" {
		return w, nil
	}
	for _, word := range strings.Split(text, ",") {
		name, number, _ := strings.Cut(word, "=")
		name = strings.TrimSpace(name)
		v, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
		if err != nil || !(v >= 0) || v > mostWeight {
			return w, fmt.Errorf("%q is no weight; write a name, = and a number from 0 to %d, such as time=2", strings.TrimSpace(word), int(mostWeight))
		}
		found := false
		for c := range Criteria {
			if c.String() == name {
				w[c], found = v, true
			}
		}
		if !found {
			return w, fmt.Errorf("there is no weight %q; there are %s", name, strings.Join(criterionNames[:], ", "))
		}
	}
	if w == (Weights{}) {
		return w, fmt.Errorf("all weights are 0; leave one above it")
	}
	return w, nil
}

const mostWeight = 1000.0

// String writes all weights as ParseWeights reads them.
func (w Weights) String() string {
	words := make([]string, Criteria)
	for c := range Criteria {
		words[c] = fmt.Sprintf("%v=%g", c, w[c])
	}
	return strings.Join(words, ",")
}
