package prove

import (
	"math"

	"falsework/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// DistanceTo is what Name measures by.
func DistanceTo(p r3.Vec, m *mesh.Mesh) float64 { return distanceTo(p, m, math.Inf(1)) }
