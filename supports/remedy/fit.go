package remedy

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
)

// cylinder is a circular cylinder without ends.
type cylinder struct {
	axis   r3.Vec // unit
	point  r3.Vec // on the axis
	radius float64
}

// radial returns the vector from the axis to p, square to the axis.
func (c *cylinder) radial(p r3.Vec) r3.Vec {
	d := r3.Sub(p, c.point)
	return r3.Sub(d, r3.Scale(r3.Dot(d, c.axis), c.axis))
}

// off returns how far p lies outside the cylinder's surface.
func (c *cylinder) off(p r3.Vec) float64 { return length(c.radial(p)) - c.radius }

// length does without r3.Norm's care for overflow, which no part needs.
func length(v r3.Vec) float64 { return math.Sqrt(r3.Norm2(v)) }

// worst returns the largest deviation of the points from the surface.
func (c *cylinder) worst(points []r3.Vec) float64 {
	w := 0.0
	for _, p := range points {
		w = max(w, math.Abs(c.off(p)))
	}
	return w
}

// across returns two unit vectors square to the unit vector a and each other.
func across(a r3.Vec) (u, v r3.Vec) {
	u = r3.Cross(a, r3.Vec{X: 1})
	if math.Abs(a.X) > 0.7 {
		u = r3.Cross(a, r3.Vec{Y: 1})
	}
	u = r3.Unit(u)
	return u, r3.Cross(a, u)
}

// flattest returns the direction along which the summed squares of a set of
// vectors are least, given their second moments, and how that sum compares with
// the next one up: 0 when all are square to it, 1 when there is no telling.
func flattest(moment *[6]float64) (axis r3.Vec, ratio float64, ok bool) {
	var e mat.EigenSym
	sym := mat.NewSymDense(3, []float64{
		moment[0], moment[1], moment[2],
		moment[1], moment[3], moment[4],
		moment[2], moment[4], moment[5]})
	if !e.Factorize(sym, true) {
		return
	}
	values := e.Values(nil) // rising
	var vectors mat.Dense
	e.VectorsTo(&vectors)
	axis = r3.Vec{X: vectors.At(0, 0), Y: vectors.At(1, 0), Z: vectors.At(2, 0)}
	if !(values[1] > 0) {
		return
	}
	return axis, max(0, values[0]) / values[1], true
}

// fitCircle fits a circle to the points seen along the axis: the algebraic least
// squares of x² + y² = 2ax + 2by + c (Kåsa 1976, IEEE Trans. Instrum. Meas.
// 25:8–14), exact for points on a circle.
func fitCircle(points []r3.Vec, axis r3.Vec) (cylinder, bool) {
	u, v := across(axis)
	mid := mean(points)
	a := mat.NewDense(len(points), 3, nil)
	b := mat.NewVecDense(len(points), nil)
	for i, p := range points {
		d := r3.Sub(p, mid)
		x, y := r3.Dot(d, u), r3.Dot(d, v)
		a.SetRow(i, []float64{2 * x, 2 * y, 1})
		b.SetVec(i, x*x+y*y)
	}
	var s mat.VecDense
	if s.SolveVec(a, b) != nil {
		return cylinder{}, false // the points lie in line
	}
	x, y := s.AtVec(0), s.AtVec(1)
	return cylinder{
		axis:   axis,
		point:  r3.Add(mid, r3.Add(r3.Scale(x, u), r3.Scale(y, v))),
		radius: math.Sqrt(max(0, s.AtVec(2)+x*x+y*y)),
	}, true
}

func mean(points []r3.Vec) r3.Vec {
	var sum r3.Vec
	for _, p := range points {
		sum = r3.Add(sum, p)
	}
	return r3.Scale(1/float64(len(points)), sum)
}

// refineSteps bounds the least squares; from a fair start it takes three or four.
const refineSteps = 12

// refine moves the cylinder to the least sum of squared distances of the points
// from its surface, by the Levenberg–Marquardt method (Marquardt 1963, J. SIAM
// 11:431–441) over two shifts and two tilts of the axis and the radius.
func (c cylinder) refine(points []r3.Vec) cylinder {
	damping := 1e-3
	// The axis turns about the middle of the points, and tilts are measured by
	// what they shift at the far end, so that all five unknowns are lengths.
	c.point = r3.Add(c.point, r3.Scale(r3.Dot(r3.Sub(mean(points), c.point), c.axis), c.axis))
	half := 0.0
	for _, p := range points {
		half = max(half, math.Abs(r3.Dot(r3.Sub(p, c.point), c.axis)))
	}
	if half == 0 {
		return c
	}
	was := c.squares(points)
	for range refineSteps {
		u, v := across(c.axis)
		var normal [25]float64
		var right [5]float64
		for _, p := range points {
			d := r3.Sub(p, c.point)
			x, y, z := r3.Dot(d, u), r3.Dot(d, v), r3.Dot(d, c.axis)/half
			rho := math.Sqrt(x*x + y*y)
			if rho == 0 {
				continue
			}
			x, y = x/rho, y/rho
			row := [5]float64{x, y, z * x, z * y, 1}
			for i, a := range row {
				for j, b := range row {
					normal[5*i+j] += a * b
				}
				right[i] += a * (rho - c.radius)
			}
		}
		better := false
		for !better && damping < 1e6 {
			damped := normal
			for i := range 5 {
				damped[6*i] += damping * (normal[6*i] + 1e-9*float64(len(points)))
			}
			var chol mat.Cholesky
			var step mat.VecDense
			if chol.Factorize(mat.NewSymDense(5, damped[:])) && chol.SolveVecTo(&step, mat.NewVecDense(5, right[:])) == nil {
				next := cylinder{
					axis: r3.Unit(r3.Add(c.axis, r3.Add(
						r3.Scale(step.AtVec(2)/half, u), r3.Scale(step.AtVec(3)/half, v)))),
					point:  r3.Add(c.point, r3.Add(r3.Scale(step.AtVec(0), u), r3.Scale(step.AtVec(1), v))),
					radius: c.radius + step.AtVec(4),
				}
				if now := next.squares(points); now < was {
					better = true
					settled := now > 0.999*was
					c, was = next, now
					damping /= 10
					if settled {
						return c
					}
				}
			}
			if !better {
				damping *= 10
			}
		}
		if !better {
			break
		}
	}
	return c
}

func (c *cylinder) squares(points []r3.Vec) float64 {
	sum := 0.0
	for _, p := range points {
		d := c.off(p)
		sum += d * d
	}
	return sum
}
