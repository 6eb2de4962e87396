package pose

import (
	"math"
	"slices"
	"testing"

	"falsework/mesh/meshtest"

	"gonum.org/v1/gonum/spatial/r3"
)

// A block that leans on a foot rests on some sides, has flats that are no sides of its hull,
// and poses that are neither.
func TestCandidatesAreOfEveryKind(t *testing.T) {
	m := meshtest.Box(r3.Vec{}, r3.Vec{X: 30, Y: 20, Z: 4})
	slope := Turn{YDeg: 25}.Place(meshtest.Box(r3.Vec{X: 8, Y: 4, Z: 0}, r3.Vec{X: 22, Y: 16, Z: 25}))
	slope.Translate(r3.Vec{Z: 2})
	m.Append(slope)
	poses, err := Find(m, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if len(poses) > Finalists+1 || poses[0].Kind != Given {
		t.Errorf("%d poses, the first is %s", len(poses), poses[0].Kind)
	}
	w := summerOf(t, m, Options{})
	rests := w.hull.Rests(w.centre, w.plane)
	for _, kind := range []Kind{Given, Resting, Level, Free} {
		i := slices.IndexFunc(poses, func(p Pose) bool { return p.Kind == kind })
		if i < 0 {
			t.Errorf("no pose is %s", kind)
			continue
		}
		up := poses[i].Turn.Up()
		stands := slices.ContainsFunc(rests, func(r Rest) bool { return angleBetween(r.Up, up) < 0.01 && r.Tipping > 0 })
		level := slices.ContainsFunc(w.flats, func(f flat) bool { return math.Abs(r3.Dot(f.normal, up)) > math.Cos(0.01) })
		if kind == Resting && !stands || kind == Level && (stands || !level) || kind == Free && level {
			t.Errorf("%s, up %.3f: on a side %t, a flat level %t", kind, up, stands, level)
		}
	}
	// None is too near another.
	for i, p := range poses[1:] {
		for _, q := range poses[1 : 1+i] {
			if a := angleBetween(p.Turn.Up(), q.Turn.Up()); a < apart-1e-4 {
				t.Errorf("turned by %v and %v: %.1f° apart", p.Turn, q.Turn, a*180/math.Pi)
			}
		}
	}
}

// Spread directions are up to some 3° from the way that a plate lies lowest; refined they
// are not, and none is worse than it was.
func TestRefineFindsTheLeast(t *testing.T) {
	height := Weights{Height: 1}
	for _, turn := range []Turn{{XDeg: 13, YDeg: 29}, {XDeg: -71, YDeg: 40, ZDeg: 8}, {XDeg: 33.3, YDeg: -57.7}} {
		m := turn.Place(meshtest.Box(r3.Vec{}, r3.Vec{X: 60, Y: 45, Z: 3}))
		w := summerOf(t, m, Options{})
		seeds := w.seeds(height)
		refined := w.refine(seeds, height)
		before, after := w.sum(seeds), w.sum(refined)
		least := math.Inf(1)
		for i := range after {
			if after[i].HeightMM > before[i].HeightMM+1e-9 {
				t.Errorf("%v: refined from %.3f to %.3f mm", turn, before[i].HeightMM, after[i].HeightMM)
			}
			least = min(least, after[i].HeightMM)
		}
		// Lying, but for the last step of both axes.
		if most := 3 + (60+45)*math.Sin(lastStep); least > most {
			t.Errorf("%v: the lowest is %.3f mm high, want %.3f at most", turn, least, most)
		}
		if before[0].HeightMM < least {
			t.Errorf("%v: a spread direction was lower", turn)
		}
	}
}
