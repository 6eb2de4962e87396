package grow

import (
	"math"
	"runtime"
	"slices"

	"falsework/raster"
	"falsework/supports"
	"falsework/supports/plan"

	"golang.org/x/sync/errgroup"
	"gonum.org/v1/gonum/spatial/r2"
)

// Descend returns how far down a round column of radius r (mm) at p gets from
// height z before it meets the part: the height of the part's layer there, 0 at
// the plate. Seated tells whether all of the column meets it at once.
func Descend(part *raster.Stack, p r2.Vec, z, r float64) (low float64, seated bool) {
	return descend(part, p, z, r, 0)
}

// spokes are the directions in which a round column is looked at, from +X on.
var spokes = func() (out [12]r2.Vec) {
	for i := range out {
		a := 2 * math.Pi * float64(i) / float64(len(out))
		out[i] = r2.Vec{X: math.Cos(a), Y: math.Sin(a)}
	}
	return out
}()

// descend is Descend down to layer least, below which it takes nothing to be.
func descend(part *raster.Stack, p r2.Vec, z, r float64, least int) (low float64, seated bool) {
	from := min(part.Above(z), len(part.Cut)) - 1
	highest, looked, hit := -1, 0, 0
	look := func(q r2.Vec) {
		looked++
		i, j := part.At(q)
		if k := part.Under(i, j, from); k > highest {
			highest, hit = k, 1
		} else if k == highest {
			hit++
		}
	}
	look(p)
	if r > 0 {
		for _, u := range spokes {
			look(r2.Add(p, r2.Scale(r, u)))
			look(r2.Add(p, r2.Scale(r/2, u)))
		}
	}
	if highest < least {
		return 0, true
	}
	return part.Top(highest), hit == looked
}

// floors sets how low every station's wall may go, and what is under it, several
// walls at a time. Where a wall has to end beside the part it may get a station more.
func (n *Network) floors(lines []plan.Line, part *raster.Stack, under *Undersides) {
	ends := make([][]ending, len(n.Walls))
	var eg errgroup.Group
	eg.SetLimit(runtime.GOMAXPROCS(0))
	for l, wall := range n.Walls {
		eg.Go(func() error {
			n.floor(wall, part, under)
			if n.pitch == finePitch && n.settings.Clearance+finePitch > widestBare*n.settings.Line && !lines[l].Tie {
				ends[l] = n.endings(l, lines[l], part, under)
			}
			return nil
		})
	}
	_ = eg.Wait() // the tasks return no error
	for l := range ends {
		for i, e := range slices.Backward(ends[l]) {
			n.insert(l, e.after, ends[l][i].Station)
		}
	}
}

// ending is a station to come after the one at a place of its wall.
type ending struct {
	Station
	after int
}

const (
	// endNear is how near, in mm, the last station of a wall then comes to where the wall has to
	// end beside the part: a fifth of a cell of the thinnest usual line.
	endNear = 0.0125
	// widestBare is how wide, in lines, what walls leave bare beside the part may be: the
	// clearance, and the pitch at which their last stations come. Of lines of 0.4 mm all demo
	// parts hold with 2.5 of them, of 0.25 mm one does not with 4.
	widestBare = 2.5 + 1e-9
)

// endings returns the stations that line l lacks, between one where there may be a wall
// and one where there may not.
func (n *Network) endings(l int, line plan.Line, part *raster.Stack, under *Undersides) (out []ending) {
	wall := n.Walls[l]
	seg, from, to := 0, 0.0, dist(xy(line.At[0]), xy(line.At[1]))
	for i := 0; i+1 < len(wall); i++ {
		a, b := &n.Stations[wall[i]], &n.Stations[wall[i+1]]
		for seg+2 < len(line.At) && a.along >= to-1e-6 {
			seg++
			from, to = to, to+dist(xy(line.At[seg]), xy(line.At[seg+1]))
		}
		if a.shut(n.settings) == b.shut(n.settings) {
			continue
		}
		open, shut := a, b
		if a.shut(n.settings) {
			open, shut = b, a
		}
		lo, hi := open.along, shut.along
		var last Station
		found := false
		for math.Abs(hi-lo) > endNear {
			mid := (lo + hi) / 2
			st := n.station(l, line, seg, from, to, mid)
			n.floorOf(&st, r2.Sub(b.P, a.P), part, under)
			if st.shut(n.settings) {
				hi = mid
			} else {
				lo, last, found = mid, st, true
			}
		}
		if found {
			out = append(out, ending{last, i})
		}
	}
	return out
}

// shut tells whether the part leaves no room for a wall at the station.
func (st *Station) shut(s supports.Settings) bool { return st.Top-st.Floor < thinnest*s.Layer }

// insert puts a station after the one at a place of line l's wall.
func (n *Network) insert(l, after int, st Station) {
	a, b, id := n.Walls[l][after], n.Walls[l][after+1], len(n.Stations)
	n.Stations = append(n.Stations, st)
	cut := func(i, j int) {
		ways := n.Stations[i].next
		n.Stations[i].next = slices.DeleteFunc(ways, func(w Way) bool { return w.To == j })
	}
	cut(a, b)
	cut(b, a)
	n.join(a, id)
	n.join(id, b)
	n.Walls[l] = slices.Insert(n.Walls[l], after+1, id)
}

func (n *Network) floor(wall []int, part *raster.Stack, under *Undersides) {
	for i, id := range wall {
		dir := r2.Sub(n.Stations[wall[min(i+1, len(wall)-1)]].P, n.Stations[wall[max(i-1, 0)]].P)
		n.floorOf(&n.Stations[id], dir, part, under)
	}
}

// floorOf sets how low the wall may go at a station of a line that runs along dir.
func (n *Network) floorOf(st *Station, dir r2.Vec, part *raster.Stack, under *Undersides) {
	s := n.settings
	depth := WallDepth(s)
	var side, ahead r2.Vec
	if l := math.Sqrt(r2.Norm2(dir)); l > 0 {
		ahead = r2.Scale(1/l, dir)
		side = r2.Scale(s.Wall/2/l, r2.Vec{X: -dir.Y, Y: dir.X})
	}
	// Just under a contact the part may be near: it is what is held. Lower
	// down, both flanks and an end keep the clearance.
	for f := -1.0; f <= 1; f++ {
		p := r2.Add(st.P, r2.Scale(f, side))
		under := r2.Add(st.P, r2.Scale(0.8*f, side))
		bare, _ := Descend(part, under, st.Top-s.Layer, 0)
		for _, g := range [2]float64{-1, 1} {
			next, _ := Descend(part, r2.Add(under, r2.Scale(g*finePitch/2, ahead)), st.Top-depth-s.Clearance, 0)
			bare = max(bare, next)
		}
		near, _ := Descend(part, p, st.Top-depth-s.Clearance, s.Clearance-part.Cell)
		st.Ground = max(st.Ground, bare)
		st.Floor = max(st.Floor, bare, near)
		// Beside a wall of the part, taller than a slope's flank would be.
		r := s.Clearance - part.Cell
		if beside(part, p, st.Top-s.Layer, r) && beside(part, p, st.Top-s.Layer-2*s.Clearance, r) {
			st.Floor = st.Top
		}
	}
	if st.Ground > 0 {
		level := true
		st.Ground, level = ground(st.P, dir, s.Wall, st.Ground, under, s)
		st.seat, st.clear = seatOver(st.Ground, level, s)
	}
}

// ground returns the part's upper side across a wall so wide along dir at p, and whether
// it is level there, if the part's highest layer under the wall and just beside it ends at
// low. What is none of the part's own faces, as a sheet, is where its layer ends.
func ground(p, dir r2.Vec, width, low float64, under *Undersides, s supports.Settings) (z float64, level bool) {
	if under == nil {
		return low, true
	}
	// Upside down, the highest is the lowest.
	h, _, level, _, found := face(p, dir, width, -low, func(at r2.Vec) (float64, bool, bool) {
		h, level, ok := under.FindUpper(at, low, s.Layer+finePitch)
		return -h, level, ok
	})
	if !found {
		return low, true
	}
	return -h, level
}

// groundUnder is ground all over a square of this side.
func groundUnder(at [2]float64, side, low float64, under *Undersides, s supports.Settings) (z float64, level bool) {
	z, level = math.Inf(-1), true
	for f := -1.0; f <= 1; f += 0.5 {
		h, flat := ground(r2.Vec{X: at[0] + f*side/2, Y: at[1]}, r2.Vec{X: 1}, side, low, under, s)
		level = level && flat && (f == -1 || math.Abs(h-z) < 1e-6)
		z = max(z, h)
	}
	return z, level
}

// beside tells whether the part comes within r of p at height z.
func beside(part *raster.Stack, p r2.Vec, z, r float64) bool {
	low, _ := descend(part, p, z, r, max(0, part.Above(z)-3))
	return low > 0 && low >= z-part.Height
}

// seatReach is how much higher than what is right under a wall the part beside it
// may be, in mm, where the wall stands on the part.
const seatReach = 1.0

// Seat returns the height at which a wall at the station would stand: the plate,
// or the part's upper side and the void that prints as the gap. It is not ok
// where a wall of the part is in the way. See Clear.
func (st *Station) Seat(s supports.Settings) (z float64, ok bool) {
	switch {
	case st.barred:
		return 0, false
	case st.Floor == 0:
		return 0, true
	case st.Ground == 0 || st.Floor > st.Ground+seatReach:
		return 0, false
	}
	return st.seat, st.seat < st.Top-thinnest*s.Layer
}

// Clear tells whether a void that prints well is to be had between Seat and the ground:
// none is, for a gap of one layer, over an upper side that lies on a cutting plane, since
// that may print a layer higher or lower.
func (st *Station) Clear() bool { return st.Floor == 0 || st.Ground == 0 || st.clear }
