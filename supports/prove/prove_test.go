package prove_test

import (
	"encoding/json"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/prove"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

func box(x0, y0, z0, x1, y1, z1 float64) *mesh.Mesh {
	return meshtest.Box(r3.Vec{X: x0, Y: y0, Z: z0}, r3.Vec{X: x1, Y: y1, Z: z1})
}

func join(list ...*mesh.Mesh) *mesh.Mesh {
	m := &mesh.Mesh{}
	for _, o := range list {
		m.Append(o)
	}
	return m
}

// proof judges by the rules that do not ask how firmly supports stand: see proofBinding.
func proof(t *testing.T, part *mesh.Mesh, s supports.Settings, bodies ...*mesh.Mesh) prove.Report {
	t.Helper()
	r, err := prove.Prove(part, bodies, s, prove.Options{Steadiness: prove.SteadinessTold})
	if err != nil {
		t.Fatal(err)
	}
	for _, q := range append(slices.Clone(r.Reasons), r.Notes...) {
		if strings.Count(strings.TrimSuffix(q.Text, "."), ". ") > 0 || !strings.HasSuffix(q.Text, ".") || q.Remedy == "" {
			t.Errorf("reason is not one sentence with a remedy: %+v", q)
		}
	}
	if (r.Verdict == prove.Holds) != (len(r.Reasons) == 0) {
		t.Errorf("verdict %s with %d reasons", r.Verdict, len(r.Reasons))
	}
	return r
}

func kinds(r prove.Report) string {
	var out []string
	for _, q := range r.Reasons {
		if !slices.Contains(out, string(q.Kind)) {
			out = append(out, string(q.Kind))
		}
	}
	return strings.Join(out, " ")
}

func noted(r prove.Report, k prove.Kind) bool {
	return slices.ContainsFunc(r.Notes, func(q prove.Reason) bool { return q.Kind == k })
}

// table is a ceiling between two walls span apart along x, 20 mm deep, its
// underside at z 10.
func table(span float64) *mesh.Mesh {
	return join(box(0, 0, 0, 3, 20, 12), box(3+span, 0, 0, 6+span, 20, 12), box(0, 0, 10, 6+span, 20, 12))
}

func TestBridgeBetweenWalls(t *testing.T) {
	for _, c := range []struct {
		span float64
		want prove.Verdict
	}{{9.9, prove.Holds}, {10.1, prove.Fails}} {
		r := proof(t, table(c.span), supports.Settings{})
		if r.Verdict != c.want {
			t.Errorf("span %g mm: %s, want %s: %+v", c.span, r.Verdict, c.want, r.Reasons)
		}
		if len(r.Bodies) != 0 || r.ContactMM2 != 0 || r.SupportUnheldMM2 != 0 {
			t.Errorf("span %g mm: supports found in a bare part", c.span)
		}
		if c.want == prove.Fails && (kinds(r) != "part-unheld" || r.UnheldMM2 < 10.1*20/2 || r.UnheldMM2 > 10.1*20.1) {
			t.Errorf("span %g mm: unheld %g mm² (%s), want %g or what its sides and ledges hold less", c.span, r.UnheldMM2, kinds(r), 10.1*20)
		}
	}
}

// A wall of support under the middle of an 18 mm span halves it for beads laid
// across it. The layers are 0.2 mm, so a top at 9.8 leaves one empty layer.
func TestVoidUnderCeiling(t *testing.T) {
	part := table(18)
	wall := func(top float64) *mesh.Mesh { return box(11.76, 0, 0, 12.24, 20, top) }
	for _, c := range []struct {
		name  string
		top   float64
		gap   float64
		want  string
		fused float64
	}{
		{"one empty layer", 9.8, 0, "", 0},
		{"three empty layers", 9.4, 0, "part-unheld", 0},
		{"none", 10, 0, "fused", 0.48 * 20},
		{"none, declared", 10, supports.Fused, "", 0},
		{"one, to be fused by teeth", 9.8, supports.Fused, "", 0},
		{"three, to be fused", 9.4, supports.Fused, "part-unheld", 0},
		{"one layer into the part", 10.2, 0, "collision", 0},
		{"one layer into the part, declared", 10.2, supports.Fused, "", 0},
		{"two layers into the part, declared", 10.4, supports.Fused, "collision", 0},
	} {
		r := proof(t, part, supports.Settings{Gap: c.gap, Direction: supports.Direction{Stated: true}}, wall(c.top))
		if kinds(r) != c.want {
			t.Errorf("%s: %q, want %q: %+v", c.name, kinds(r), c.want, r.Reasons)
		}
		// A wall 0.48 thick covers 4 or 5 cells of 0.1.
		if math.Abs(r.FusedMM2-c.fused) > 0.1*20 {
			t.Errorf("%s: fused %g mm², want %g", c.name, r.FusedMM2, c.fused)
		}
		if c.want == "" && math.Abs(r.ContactMM2-0.48*20) > 0.1*20 {
			t.Errorf("%s: contact %g mm², want %g", c.name, r.ContactMM2, 0.48*20)
		}
		if math.Abs(r.PlateMM2-0.48*20) > 0.1*20 || r.LandingMM2 != 0 {
			t.Errorf("%s: on the plate %g mm², on the part %g, want %g and 0", c.name, r.PlateMM2, r.LandingMM2, 0.48*20)
		}
	}
}

// Laid along the wall, the same beads would have no landing: a contact across a
// void must hold in any direction, unless one is stated, and the best is told.
func TestAnyDirectionAndBest(t *testing.T) {
	r := proof(t, table(18), supports.Settings{}, box(11.76, 0, 0, 12.24, 20, 9.8))
	if kinds(r) != "part-unheld" || r.UnheldMM2 == 0 || r.UnheldBestDirectionMM2 != 0 {
		t.Errorf("%s: %g mm² unheld, %g at best", kinds(r), r.UnheldMM2, r.UnheldBestDirectionMM2)
	}
}

// Two boxes overlap in 2 × 3 × 1 mm.
func TestCollisionVolume(t *testing.T) {
	r := proof(t, box(0, 0, 0, 10, 10, 5), supports.Settings{}, box(8, 7, 4, 14, 14, 9))
	if math.Abs(r.CollisionsMM3-6) > 1e-6 {
		t.Errorf("collisions %g mm³, want 6", r.CollisionsMM3)
	}
	if r.Verdict != prove.Fails || !strings.Contains(kinds(r), "collision") {
		t.Errorf("%s %s", r.Verdict, kinds(r))
	}
	for _, q := range r.Reasons {
		if q.Kind == prove.Collision && (math.Abs(q.VolumeMM3-6) > 1e-6 || q.At.X < 8 || q.At.X > 10 || q.LayerZ != 4) {
			t.Errorf("place of the collision: %+v", q)
		}
	}
	// Faces that coincide share no cell.
	if r := proof(t, box(0, 0, 0, 10, 10, 5), supports.Settings{}, box(10, 0, 0, 14, 10, 5)); r.CollisionsMM3 != 0 {
		t.Errorf("touching boxes collide in %g mm³", r.CollisionsMM3)
	}
}

// The clearance is 0.5 mm: under 0.25 fails, under 0.5 is noted.
func TestSideClearance(t *testing.T) {
	for _, c := range []struct {
		off   float64
		fails bool
		note  bool
	}{{0, true, false}, {0.1, true, false}, {0.2, true, false}, {0.3, false, true}, {0.5, false, false}, {0.7, false, false}} {
		r := proof(t, box(0, 0, 0, 10, 10, 8), supports.Settings{}, box(10+c.off, 2, 0, 14, 8, 6))
		if fails := kinds(r) == "side-fused"; fails != c.fails || !fails && kinds(r) != "" || noted(r, prove.SideNear) != c.note && !c.fails {
			t.Errorf("%g mm off: fails %q, noted %v", c.off, kinds(r), noted(r, prove.SideNear))
		}
		if c.fails && math.Abs(r.ClearanceMM2-6*6) > 2.5 {
			t.Errorf("%g mm off: %g mm² of its side are too near, want 36", c.off, r.ClearanceMM2)
		}
	}
}

// Just below the contact with a slope the part is near, and that is no fault.
func TestSlopeIsNoWall(t *testing.T) {
	for _, deg := range []float64{48, 55, 65, 75} {
		// A wedge that overhangs towards +x: its underside rises from (5, 4).
		run := 12.0
		rise := run / math.Tan(deg*math.Pi/180)
		lo := []r2.Vec{{X: 0, Y: 0}, {X: 5, Y: 0}, {X: 5, Y: 20}, {X: 0, Y: 20}}
		hi := []r2.Vec{{X: 0, Y: 0}, {X: 5 + run, Y: 0}, {X: 5 + run, Y: 20}, {X: 0, Y: 20}}
		part := join(mesh.Prism(lo, 0, 4), mesh.Frustum(lo, hi, 4, 4+rise))
		// Walls along the slope's fall, the gap and a quarter layer below it,
		// start a clearance off the wall.
		top := func(x float64) float64 { return 4 + (x-5)*rise/run - 0.25 }
		var walls []*mesh.Mesh
		for y := 0.3; y < 20; y += 4.8 {
			m, err := mesh.Wall([]mesh.Station{{P: r2.Vec{X: 5.6, Y: y}, High: top(5.6)}, {P: r2.Vec{X: 17, Y: y}, High: top(17)}}, 0.48)
			if err != nil {
				t.Fatal(err)
			}
			walls = append(walls, m)
		}
		r := proof(t, part, supports.Settings{}, walls...)
		if strings.Contains(kinds(r), "fused") || strings.Contains(kinds(r), "collision") {
			t.Errorf("%g°: %v", deg, r.Reasons)
		}
		if len(r.Bodies) != len(walls) || r.BlockedBodies != 0 {
			t.Errorf("%g°: %d bodies, %d blocked", deg, len(r.Bodies), r.BlockedBodies)
		}
		// The walls below the slope may leave along it, and away from it.
		for _, b := range r.Bodies {
			for _, w := range []prove.Way{"0°", "90°", "270°"} {
				if !slices.Contains(b.WaysOut, w) {
					t.Errorf("%g°: body %d has no way %s: %v", deg, b.ID, w, b.WaysOut)
				}
			}
			if slices.Contains(b.WaysOut, "180°") || slices.Contains(b.WaysOut, "up") {
				t.Errorf("%g°: body %d leaves through the part: %v", deg, b.ID, b.WaysOut)
			}
		}
	}
}

func TestWaysOut(t *testing.T) {
	var round []prove.Way
	for n := 0; n < 16; n++ {
		round = append(round, prove.Way(strconv.FormatFloat(22.5*float64(n), 'f', -1, 64)+"°"))
	}
	ring := func(r0, r1, z0, z1 float64) *mesh.Mesh {
		return mesh.Tube(mesh.RegularPolygon(r2.Vec{}, r1, 64, 0), mesh.RegularPolygon(r2.Vec{}, r0, 64, 0), z0, z1)
	}
	disc := func(r, z0, z1 float64) *mesh.Mesh {
		return mesh.Prism(mesh.RegularPolygon(r2.Vec{}, r, 64, 0), z0, z1)
	}
	for _, c := range []struct {
		name       string
		part, body *mesh.Mesh
		want       []prove.Way
		pieces     bool
	}{
		{"beside the part", box(0, 0, 0, 5, 5, 5), box(6.5, 0, 0, 8, 5, 5),
			[]prove.Way{"0°", "22.5°", "45°", "67.5°", "90°", "270°", "292.5°", "315°", "337.5°", "down", "up"}, false},
		{"under an open table", join(box(0, 0, 10, 20, 20, 12), box(9, 9, 0, 11, 11, 10)), box(2, 2, 0, 4, 4, 9.8),
			remove(append(slices.Clone(round), "down"), "45°"), false},
		{"in a closed cavity", join(box(0, 0, 0, 20, 20, 2), box(0, 0, 10, 20, 20, 12), box(0, 0, 2, 2, 20, 10), box(18, 0, 2, 20, 20, 10), box(0, 0, 2, 20, 2, 10), box(0, 18, 2, 20, 20, 10)),
			box(8, 8, 2.2, 12, 12, 9.8), []prove.Way{}, false},
		{"in a tunnel along y", join(box(0, 0, 10, 10, 20, 12), box(0, 0, 0, 2, 20, 10), box(8, 0, 0, 10, 20, 10)),
			box(4, 0, 0, 6, 20, 9.8), []prove.Way{"90°", "270°", "down"}, false},
		{"behind a lip of one layer, which it clears once loose", join(box(0, 0, 0, 20, 10, 2), box(0, 0, 8, 20, 10, 10), box(0, 0, 0, 1, 10, 10), box(8, 0, 2, 9, 10, 2.4), box(0, 0, 0, 20, 1, 10), box(0, 9, 0, 20, 10, 10)),
			box(3, 3, 2.2, 5, 5, 7.8), []prove.Way{"0°"}, false},
		{"behind a lip of two, which it does not", join(box(0, 0, 0, 20, 10, 2), box(0, 0, 8, 20, 10, 10), box(0, 0, 0, 1, 10, 10), box(8, 0, 2, 9, 10, 2.6), box(0, 0, 0, 9, 1, 10), box(0, 9, 0, 9, 10, 10)),
			box(3, 3, 2.2, 5, 5, 7.8), []prove.Way{}, false},
		{"a ring round a column", disc(4, 0, 12), ring(5, 6, 0, 9), []prove.Way{"down", "up"}, false},
		{"the same under a wider head", join(disc(4, 0, 10), disc(8, 10, 12)), ring(5, 6, 0, 9.8), []prove.Way{"down"}, false},
		{"the same, the column flared at its foot", join(disc(8, 0, 2), disc(4, 2, 10), disc(8, 10, 12)), ring(5, 6, 2.2, 9.8), []prove.Way{}, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := proof(t, c.part, supports.Settings{}, c.body)
			if len(r.Bodies) != 1 {
				t.Fatalf("%d bodies", len(r.Bodies))
			}
			got := r.Bodies[0].WaysOut
			if !reflect.DeepEqual(got, c.want) {
				t.Errorf("ways out %v, want %v", got, c.want)
			}
			b := len(c.want) == 0
			pieces := len(r.Bodies[0].Pieces) > 0 // see TestPieces
			if r.Bodies[0].Blocked != b || (r.BlockedBodies == 1) != b || strings.Contains(kinds(r), "blocked") != (b && !pieces) || pieces != c.pieces {
				t.Errorf("blocked %v, reasons %s, pieces %+v", r.Bodies[0].Blocked, kinds(r), r.Bodies[0].Pieces)
			}
		})
	}
}

func remove(list []prove.Way, w prove.Way) []prove.Way {
	return slices.DeleteFunc(list, func(v prove.Way) bool { return v == w })
}

// A support is judged by the rules too: the default limit is 45° from vertical.
func TestSupportsOwnOverhang(t *testing.T) {
	part := box(-20, 0, 0, -15, 10, 5)
	lean := func(deg float64) *mesh.Mesh {
		d := 8 * math.Tan(deg*math.Pi/180)
		lo := []r2.Vec{{X: 0, Y: 0}, {X: 2, Y: 0}, {X: 2, Y: 10}, {X: 0, Y: 10}}
		hi := []r2.Vec{{X: d, Y: 0}, {X: d + 2, Y: 0}, {X: d + 2, Y: 10}, {X: d, Y: 10}}
		return mesh.Frustum(lo, hi, 0, 8)
	}
	if r := proof(t, part, supports.Settings{}, lean(40)); kinds(r) != "" {
		t.Errorf("a wall that leans 40°: %s", kinds(r))
	}
	if r := proof(t, part, supports.Settings{}, lean(60)); kinds(r) != "support-unheld" || r.PartUnheldMM2 != 0 || r.SupportUnheldMM2 != r.UnheldMM2 {
		t.Errorf("a wall that leans 60°: %s, %g mm²", kinds(r), r.SupportUnheldMM2)
	}
	floating := proof(t, part, supports.Settings{}, box(0, 0, 3, 2, 2, 5))
	if kinds(floating) != "support-unheld" || math.Abs(floating.SupportUnheldMM2-4) > 1e-9 {
		t.Errorf("a floating piece: %s, %g mm²", kinds(floating), floating.SupportUnheldMM2)
	}
	if q := floating.Reasons[0]; q.At != (r3.Vec{X: q.At.X, Y: q.At.Y, Z: 3}) || q.LayerZ != 3 {
		t.Errorf("its place: %+v", q)
	}
	// On the part across one empty layer it lands.
	landed := proof(t, join(box(0, 0, 0, 5, 5, 5)), supports.Settings{}, box(1, 1, 5.2, 3, 3, 8))
	if kinds(landed) != "" || math.Abs(landed.LandingMM2-4) > 1e-9 || landed.Bodies[0].LandingMM2 != landed.LandingMM2 {
		t.Errorf("standing on the part: %s, %g mm²", kinds(landed), landed.LandingMM2)
	}
	if fused := proof(t, box(0, 0, 0, 5, 5, 5), supports.Settings{}, box(1, 1, 5, 3, 3, 8)); kinds(fused) != "fused" {
		t.Errorf("printed onto the part: %s", kinds(fused))
	}
}

// A foot may stand out past the edge that it stands on; a wall that runs on down
// beside the part may not.
func TestFootPastTheEdge(t *testing.T) {
	part := box(0, 0, 0, 5, 5, 5)
	for _, c := range []struct {
		gap, z float64
		want   string
	}{{0, 5.2, ""}, {supports.Fused, 5, ""}, {supports.Fused, 4.8, ""}} {
		if r := proof(t, part, supports.Settings{Gap: c.gap}, box(3, 1, c.z, 5.2, 3, 8)); kinds(r) != c.want {
			t.Errorf("foot at %g: %q, want %q: %v", c.z, kinds(r), c.want, r.Reasons)
		}
	}
	if r := proof(t, part, supports.Settings{}, join(box(3, 1, 5.2, 5.6, 3, 8), box(5.1, 1, 0, 5.6, 3, 8))); kinds(r) != "side-fused" {
		t.Errorf("wall beside the part: %q", kinds(r))
	}
}

func TestBodies(t *testing.T) {
	part := box(-20, 0, 0, -15, 10, 5)
	// Two overlapping shells of one body, and another one layer above the first.
	r := proof(t, part, supports.Settings{}, box(10, 0, 0, 12, 2, 4), join(box(0, 0, 0, 3, 2, 4), box(2, 0, 0, 6, 2, 4)), box(0, 0, 4.2, 6, 2, 5.2))
	if len(r.Bodies) != 3 {
		t.Fatalf("%d bodies, want 3", len(r.Bodies))
	}
	for n, want := range []prove.Body{
		{ID: 1, VolumeMM3: 48, PlateMM2: 12, Bounds: r3.Box{Max: r3.Vec{X: 6, Y: 2, Z: 4}}},
		{ID: 2, VolumeMM3: 16, PlateMM2: 4, Bounds: r3.Box{Min: r3.Vec{X: 10}, Max: r3.Vec{X: 12, Y: 2, Z: 4}}},
		{ID: 3, VolumeMM3: 12, Bounds: r3.Box{Min: r3.Vec{Z: 4.2}, Max: r3.Vec{X: 6, Y: 2, Z: 5.2}}},
	} {
		got := r.Bodies[n]
		got.WaysOut, got.Room = nil, nil             // see TestRoom
		got.SwayMM, got.FootMPa, got.PushN = 0, 0, 0 // see TestSwayOfBeams and the like
		if !reflect.DeepEqual(got, want) {
			t.Errorf("got %+v\nwant %+v", got, want)
		}
	}
}

func TestSameReportForAnyNumberOfWorkers(t *testing.T) {
	part, sup := posted(8000, 1)
	var want []byte
	for _, n := range []int{1, 2, 7} {
		r, err := prove.Prove(part, []*mesh.Mesh{sup}, supports.Settings{}, prove.Options{Workers: n})
		if err != nil {
			t.Fatal(err)
		}
		got, err := json.Marshal(r)
		if err != nil {
			t.Fatal(err)
		}
		if want == nil {
			want = got
		}
		if string(got) != string(want) {
			t.Errorf("%d workers give another report", n)
		}
	}
	if !strings.Contains(string(want), `"unheld_best_direction_mm2"`) || !strings.Contains(string(want), `"at_mm":[`) || !strings.Contains(string(want), `"bounds_mm":[[`) {
		t.Errorf("json: %.300s", want)
	}
}

// Cut parts on too small a grid are carried over to one that holds the supports.
func TestProveCut(t *testing.T) {
	part, s := table(18), supports.Settings{}
	s, err := s.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	bodies := []*mesh.Mesh{box(11.76, 0, 0, 12.24, 20, 9.8), box(-30, -9, 0, -28, 40, 3)}
	st := raster.Section(part, raster.GridFor(part.Bounds(), s.Cell, 0.3), s.Layers(), 0)
	got, err := prove.ProveCut(st, bodies, s, prove.Options{})
	if err != nil {
		t.Fatal(err)
	}
	want := proof(t, part, s, bodies...)
	a, _ := json.Marshal(got)
	b, _ := json.Marshal(want)
	if string(a) != string(b) {
		t.Errorf("cut: %s\nwhole: %s", a, b)
	}
}

func TestRefusals(t *testing.T) {
	ok := box(0, 0, 0, 1, 1, 1)
	far := box(0, 0, 0, 1, 1, 1)
	far.Translate(r3.Vec{X: 1e6})
	broken := &mesh.Mesh{Vertices: ok.Vertices[:3], Triangles: ok.Triangles}
	for _, c := range []struct {
		part   *mesh.Mesh
		bodies []*mesh.Mesh
		s      supports.Settings
		want   string
	}{
		{nil, nil, supports.Settings{}, "no triangles"},
		{&mesh.Mesh{}, nil, supports.Settings{}, "no triangles"},
		{broken, nil, supports.Settings{}, "triangle"},
		{ok, []*mesh.Mesh{nil, broken}, supports.Settings{}, "support body 2"},
		{ok, []*mesh.Mesh{box(0, 0, -1, 1, 1, 1)}, supports.Settings{}, "1 mm below the plate"},
		{ok, []*mesh.Mesh{far, ok}, supports.Settings{}, "too large"},
		{ok, nil, supports.Settings{Layer: 5}, "layer"},
	} {
		if _, err := prove.Prove(c.part, c.bodies, c.s, prove.Options{}); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("error %v, want %q", err, c.want)
		}
	}
}

// posted is a lump, about 60 mm across and scaled, with square posts under it on
// a 9 mm grid.
func posted(triangles int, scale float64) (part, sup *mesh.Mesh) {
	part, sup = meshtest.Blob(triangles), &mesh.Mesh{}
	for i, v := range part.Vertices {
		part.Vertices[i] = r3.Scale(scale, v)
	}
	b := part.Bounds()
	for x := b.Min.X + 4; x < b.Max.X; x += 9 {
		for y := b.Min.Y + 4; y < b.Max.Y; y += 9 {
			sup.Append(box(x, y, 0, x+2, y+2, 12*scale))
		}
	}
	return part, sup
}

// What is judged near a limit does not depend on how far supports reach beyond the part,
// nor on who cut it: a post far off on the low side changes nothing but the supports.
func TestWiderGridChangesNothing(t *testing.T) {
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	part, sup := posted(20_000, 0.7)
	b := part.Bounds()
	near := proof(t, part, s, sup)
	far := proof(t, part, s, sup, box(b.Min.X-13.7, b.Min.Y-9.3, 0, b.Min.X-9, b.Min.Y-5, 5))
	if far.Grid.LowI == 0 || far.Grid.LowJ == 0 {
		t.Fatalf("the grid is %+v", far.Grid)
	}
	cut, err := prove.ProveCut(raster.Section(part, raster.GridFor(b, s.Cell, 5), s.Layers(), 0), []*mesh.Mesh{sup}, s, prove.Options{Steadiness: prove.SteadinessTold})
	if err != nil {
		t.Fatal(err)
	}
	if near.PartUnheldMM2 == 0 {
		t.Fatal("nothing is near a limit")
	}
	for name, r := range map[string]prove.Report{"a post far off": far, "cut before": cut} {
		if r.PartUnheldMM2 != near.PartUnheldMM2 || r.UnheldBestDirectionMM2 != near.UnheldBestDirectionMM2 || r.ContactMM2 != near.ContactMM2 || r.CollisionsMM3 != near.CollisionsMM3 {
			t.Errorf("%s: %v mm² of the part unheld, %v the best way; want %v and %v", name, r.PartUnheldMM2, r.UnheldBestDirectionMM2, near.PartUnheldMM2, near.UnheldBestDirectionMM2)
		}
	}
}

func BenchmarkProve(b *testing.B) {
	for _, c := range []struct {
		name      string
		triangles int
		scale     float64
	}{{"blob-100k", 100_000, 1}, {"blob-1M-150mm", 1_000_000, 2.5}} {
		b.Run(c.name, func(b *testing.B) {
			part, sup := posted(c.triangles, c.scale)
			b.SetBytes(int64(50 * (len(part.Triangles) + len(sup.Triangles))))
			b.ReportAllocs()
			b.ResetTimer()
			for n := 0; n < b.N; n++ {
				if _, err := prove.Prove(part, []*mesh.Mesh{sup}, supports.Settings{}, prove.Options{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// What stands in a tilted bore comes out along the bore, and not where its mouth is
// closed on both sides.
func TestObliqueWayOut(t *testing.T) {
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		t.Fatal(err)
	}
	tilt := 30 * math.Pi / 180
	sin, cos := math.Sincos(tilt)
	// A square tube 24 mm long round a bore of 6 mm, tilted about x, its lower end
	// under the block's middle.
	turned := func(m *mesh.Mesh) *mesh.Mesh {
		for i, v := range m.Vertices {
			m.Vertices[i] = r3.Vec{X: v.X, Y: v.Y*cos - v.Z*sin, Z: v.Y*sin + v.Z*cos + 14}
		}
		return m
	}
	lid := func(y0, y1 float64) *mesh.Mesh {
		return turned(meshtest.Box(r3.Vec{X: -6, Y: y0, Z: -6}, r3.Vec{X: 6, Y: y1, Z: 6}))
	}
	tube := func() *mesh.Mesh {
		var m mesh.Mesh
		for _, b := range [][6]float64{{-6, -12, -6, 6, 12, -3}, {-6, -12, 3, 6, 12, 6}, {-6, -12, -3, -3, 12, 3}, {3, -12, -3, 6, 12, 3}} {
			m.Append(turned(meshtest.Box(r3.Vec{X: b[0], Y: b[1], Z: b[2]}, r3.Vec{X: b[3], Y: b[4], Z: b[5]})))
		}
		return &m
	}
	inside := turned(meshtest.Box(r3.Vec{X: -1, Y: -8, Z: -2}, r3.Vec{X: 1, Y: 8, Z: 2}))
	for _, c := range []struct {
		name    string
		lids    []*mesh.Mesh
		blocked int
	}{
		{"open", nil, 0},
		{"one end closed", []*mesh.Mesh{lid(12, 15)}, 0},
		{"both ends closed", []*mesh.Mesh{lid(12, 15), lid(-15, -12)}, 1},
	} {
		m := tube()
		for _, l := range c.lids {
			m.Append(l)
		}
		r, err := prove.Prove(m, []*mesh.Mesh{inside}, s, prove.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if r.BlockedBodies != c.blocked {
			t.Errorf("%s: %d bodies blocked, want %d; ways %v", c.name, r.BlockedBodies, c.blocked, r.Bodies[0].WaysOut)
		}
	}
}

// What would fall beside a wall of the part, nearer to it than a support may come, says that
// this is why; what stands out further asks for a support. A rim round a stem of 4 mm, of a
// line of 0.25 mm and with a clearance of 0.5 mm.
func TestHemmedIn(t *testing.T) {
	for _, c := range []struct {
		rim, clearance float64
		hemmed         bool
	}{{4.45, 0, true}, {4.45, 0.4, false}, {5, 0, false}} {
		part := join(puck(4, 0, 10), puck(c.rim, 10, 14))
		r := proof(t, part, supports.Settings{Nozzle: 0.25, Layer: 0.16, First: 0.2, Clearance: c.clearance})
		if kinds(r) != string(prove.PartUnheld) {
			t.Fatalf("rim of %g mm: %+v", c.rim, r.Reasons)
		}
		for _, q := range r.Reasons {
			if strings.Contains(q.Remedy, "less than the clearance of") != c.hemmed {
				t.Errorf("rim of %g mm, clearance %g mm: %s", c.rim, c.clearance, q.Remedy)
			}
		}
	}
}
