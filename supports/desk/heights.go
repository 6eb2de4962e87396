package desk

import (
	"fmt"
	"math"
	"slices"

	"falsework/supports"
	"falsework/supports/grow"
	"falsework/supports/prove"

	"gonum.org/v1/gonum/spatial/r2"
)

// tellHeights says of what fails at level faces of the part, or almost level undersides, where no support can suit all
// declared layer heights that this is why, and what would help.
func tellHeights(reasons []prove.Reason, under *grow.Undersides, s supports.Settings) {
	for i := range reasons {
		r := &reasons[i]
		if r.Kind != prove.PartUnheld && r.Kind != prove.WrongVoid {
			continue
		}
		at := r2.Vec{X: r.At.X, Y: r.At.Y}
		reach := s.Layer + slices.Max(s.Heights) // from the layer that fails
		z, level, ok := under.Find(at, r.At.Z, reach)
		up, upLevel, found := under.FindUpper(at, r.At.Z, reach)
		// A void is told at the face itself.
		faces := r.Kind == prove.WrongVoid && found && (!ok || math.Abs(up-r.At.Z) < math.Abs(z-r.At.Z))
		if faces {
			z, level, ok = up, upLevel, found
		}
		if !ok || !level && (faces || !gentle(under, at, z)) {
			continue
		}
		suits, move := grow.Suits(z, faces, s)
		if suits {
			continue
		}
		all := fmt.Sprintf("%g", s.Layer)
		for n, h := range s.Heights {
			and := ", "
			if n == len(s.Heights)-1 {
				and = " and "
			}
			all += fmt.Sprintf("%s%g", and, h)
		}
		r.Remedy = fmt.Sprintf("no support at the face at z %.2f mm leaves a good void in layers of %s mm alike: declare fewer heights", z, all)
		if move != 0 {
			r.Remedy += fmt.Sprintf(", or move the face to z %.2f mm", z+move)
		}
	}
}

// gentle tells whether the underside at z over a place is that of a slope which may count
// as level: half a millimetre to each side it is as high within half of a thin layer.
func gentle(under *grow.Undersides, at r2.Vec, z float64) bool {
	const aside, most = 0.5, 0.06
	for _, d := range [4]r2.Vec{{X: aside}, {X: -aside}, {Y: aside}, {Y: -aside}} {
		if _, _, ok := under.Find(r2.Add(at, d), z, most); !ok {
			return false
		}
	}
	return true
}
