package prove

import (
	"cmp"
	"math"
	"slices"

	"falsework/raster"
	"falsework/supports"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// Stance is how supports stand while they print.
type Stance struct {
	// Stems are the stretches that stand less firmly than they should, the worst first.
	Stems []Stem
	// Tips are the bodies whose centre of mass is not above what they stand on, for a while.
	Tips []Tip
	// ExcessMM is by how much all of them do: the height in mm of all that is beyond its
	// limit times how often the limit doubles to it. It gets less wherever one of many such
	// places gets better.
	ExcessMM float64
	// Printed is how many separate pieces print, over all layers.
	Printed int

	sup    *raster.Stack
	layers []rows
}

// Firm tells whether nothing gives way, pulls or tips further than it may.
func (t *Stance) Firm() bool { return len(t.Stems) == 0 && len(t.Tips) == 0 }

// Stem is a stretch of supports that gives way, or pulls at its foot, further than it may
// while a nozzle drags at it.
type Stem struct {
	Body int // Body.ID
	// At is the middle of its uppermost piece.
	At r3.Vec
	// SwayMM and FootMPa are the worst of that piece and what it stands on.
	SwayMM, FootMPa float64
	// Bends is where below At it bends most, the middle of what each layer of it adds, and
	// Way the direction in plan that it gives way in, of length 1.
	Bends r3.Vec
	Way   r2.Vec
	// Begins is the height below which it does not bend noticeably.
	Begins float64

	top    int     // layer of its uppermost piece
	pieces []int32 // one of each layer, from there down
}

// Tip is a body that stays up by its grip alone while some of its layers print.
type Tip struct {
	Body int // Body.ID
	// At is its centre of mass where that is furthest outside what it stands on, by OutMM, at
	// the first of the layers concerned.
	At    r3.Vec
	OutMM float64
	// TallMM is how much of its height prints like that.
	TallMM float64
}

// excess returns how much it counts of Stance.ExcessMM: its height times how often a line's
// width doubles to where its centre of mass is.
func (t *Tip) excess(line float64) float64 { return t.TallMM * math.Log2(1+t.OutMM/line) }

// steadyShare is the share of the limit of sway that is not noticed.
const steadyShare = 0.2

// Stand returns how supports stand that have been cut already, on one grid with the part:
// that share of a proof alone, told by places rather than by bodies.
func Stand(part, sup *raster.Stack, s supports.Settings, opt Options) (Stance, error) {
	p, err := newProof(part, sup, s, opt)
	if err != nil {
		return Stance{}, err
	}
	layers, n := connect(p.sup, p.workers)
	out := Stance{sup: p.sup, layers: layers}
	all := p.pieces(layers)
	type worst struct{ sway, foot float64 }
	at := make([][]worst, len(all))
	for k := range all {
		at[k] = make([]worst, len(all[k]))
		out.Printed += len(all[k])
	}
	over := func(k, n int) float64 { return max(at[k][n].sway/mostSway, at[k][n].foot/p.s.Adhesion) }
	p.follow(layers, all, n, func(k, n int, sway, foot float64) {
		at[k][n] = worst{sway, foot}
		if o := over(k, n); o > 1 {
			out.ExcessMM += p.sup.Thickness(k) * math.Log2(min(o, mostOver))
		}
	})
	for k := range all {
		goesOn := make([]bool, len(all[k]))
		if k+1 < len(all) {
			for n := range all[k+1] {
				for _, s := range all[k+1][n].on {
					goesOn[s] = goesOn[s] || over(k+1, n) > 1
				}
			}
		}
		for n := range all[k] {
			if over(k, n) <= 1 || goesOn[n] {
				continue
			}
			q := &all[k][n]
			st := Stem{Body: int(q.body) + 1, At: r3.Vec{X: q.at.X, Y: q.at.Y, Z: p.sup.Top(k)}, top: k}
			st.Bends, st.Way = p.bends(all, k, n)
			bends := true
			for m, i := k, n; i >= 0; m-- {
				if bends = bends && at[m][i].sway >= steadyShare*mostSway || m == k; bends {
					st.SwayMM, st.FootMPa = max(st.SwayMM, at[m][i].sway), max(st.FootMPa, at[m][i].foot)
					st.Begins = p.sup.Bottom(m)
				}
				st.pieces = append(st.pieces, int32(i))
				i = stoutest(all, m, i)
			}
			out.Stems = append(out.Stems, st)
		}
	}
	for _, t := range p.tipping(layers, p.landings()) {
		tip := Tip{Body: int(t.body) + 1, At: r3.Vec{X: t.at.X, Y: t.at.Y, Z: t.from}, OutMM: t.out, TallMM: t.to - t.from + p.sup.Height}
		out.Tips = append(out.Tips, tip)
		out.ExcessMM += tip.excess(p.s.Line)
	}
	slices.SortStableFunc(out.Stems, func(a, b Stem) int {
		return cmp.Compare(max(b.SwayMM/mostSway, b.FootMPa/p.s.Adhesion), max(a.SwayMM/mostSway, a.FootMPa/p.s.Adhesion))
	})
	return out, nil
}

// landings returns about where supports stand on the part, by layer: what is new in a layer
// and lies over the part, across no more than a void. Package hold looks closer.
func (p *proof) landings() map[int]*raster.Bits {
	out := map[int]*raster.Bits{}
	for k := 1; k < len(p.sup.Cut); k++ {
		fresh := raster.AndNot(&p.sup.Cut[k], &p.sup.Cut[k-1])
		if fresh.Empty() {
			continue
		}
		var on raster.Bits
		for e := 0; e <= p.s.SlopeVoidLayers() && e < k; e++ {
			hit := raster.And(&fresh, p.part.Layer(k-1-e))
			on.Add(&hit)
		}
		if !on.Empty() {
			out[k] = &on
		}
	}
	return out
}

// Piece returns which piece of the stem, or of what it stands on, there is at height z, −1
// where there is none.
func (t *Stance) Piece(s *Stem, z float64) int {
	if n := s.top - (t.sup.Above(z) - 1); n >= 0 && n < len(s.pieces) {
		return int(s.pieces[n])
	}
	return -1
}

// Pieces returns which piece of the layer at height z is at a place, and of which body, by
// Body.ID: −1 and 0 where there is none.
func (t *Stance) Pieces(z float64) func(r2.Vec) (piece, body int) {
	k := t.sup.Above(z) - 1
	if k < 0 || k >= len(t.layers) {
		return func(r2.Vec) (int, int) { return -1, 0 }
	}
	l := &t.layers[k]
	_, label := piecesOf(l, t.sup.Grid)
	return func(p r2.Vec) (int, int) {
		i, j := t.sup.At(p)
		runs, first := l.row(j)
		for n, u := range runs {
			if int(u.i0) <= i && i < int(u.i1) {
				return int(label[first+n]), int(u.body) + 1
			}
		}
		return -1, 0
	}
}

// mostOver is where counting how far something is beyond its limit ends.
const mostOver = 1000

// stoutest returns the largest piece of the layer below that piece n of layer k rests on, −1
// for none.
func stoutest(all [][]piece, k, n int) int {
	best := -1
	for _, s := range all[k][n].on {
		if best < 0 || all[k-1][s].area > all[k-1][best].area {
			best = int(s)
		}
	}
	return best
}

// bends follows a piece down through the stoutest of what each rests on, and returns the
// middle of what bends there and which way that gives: a slice of it bends the top by
// F·(H − z)²·dz/EI.
func (p *proof) bends(all [][]piece, k, at int) (r3.Vec, r2.Vec) {
	var xx, xy, yy, sum float64
	var middle r3.Vec
	for top := p.sup.Top(k); at >= 0; k-- {
		q := &all[k][at]
		m := floored(q.moments, p.s.Line)
		arm := top - p.sup.Bottom(k)
		f := arm * arm * p.sup.Thickness(k) / (m.xx*m.yy - m.xy*m.xy)
		// Along x the flexibility is yy/det: xx is ∫x² dA, which resists it.
		xx, xy, yy = xx+f*m.yy, xy-f*m.xy, yy+f*m.xx
		w := f * (m.xx + m.yy)
		sum += w
		middle = r3.Add(middle, r3.Scale(w, r3.Vec{X: q.at.X, Y: q.at.Y, Z: (p.sup.Bottom(k) + p.sup.Top(k)) / 2}))
		at = stoutest(all, k, at)
	}
	sin, cos := math.Sincos(math.Atan2(2*xy, xx-yy) / 2)
	return r3.Scale(1/sum, middle), r2.Vec{X: cos, Y: sin}
}
