package raster

import "falsework/mesh"

// Piece is one connected component of a set of cells.
type Piece struct {
	Cells          Bits
	Area           int // cells
	X0, Y0, X1, Y1 int // half-open bounds
}

// run is a row's maximal run of cells, i0 ≤ i < i1.
type run struct{ j, i0, i1 int }

// Pieces returns the connected components of b in order of their first cell, row
// by row. Cells that share a corner are connected, as molten beads are.
func Pieces(b *Bits) []Piece {
	runs, label, n := label(b)
	if n == 0 {
		return nil
	}
	pieces := make([]Piece, n)
	for r, l := range label {
		p, u := &pieces[l], runs[r]
		if p.Area == 0 {
			p.X0, p.X1, p.Y0, p.Y1 = u.i0, u.i1, u.j, u.j+1
		}
		p.Area += u.i1 - u.i0
		p.X0, p.X1 = min(p.X0, u.i0), max(p.X1, u.i1)
		p.Y1 = u.j + 1
	}
	for i := range pieces {
		p := &pieces[i]
		p.Cells = NewBits(p.X0, p.Y0, p.X1, p.Y1)
	}
	for r, l := range label {
		pieces[l].Cells.SetSpan(runs[r].j, runs[r].i0, runs[r].i1)
	}
	return pieces
}

// label gives every run of b the number of its component, numbered by first run.
func label(b *Bits) (runs []run, label []int, n int) {
	b.EachRun(func(j, i0, i1 int) { runs = append(runs, run{j, i0, i1}) })
	sets := mesh.NewDisjoint[int](len(runs))
	above, at := 0, 0 // first run of the row before, and of this row
	for r := range runs {
		if r > 0 && runs[r].j != runs[r-1].j {
			above, at = at, r
		}
		if at == 0 || runs[above].j != runs[r].j-1 {
			continue
		}
		for q := above; q < at && runs[q].i0 <= runs[r].i1; q++ {
			if runs[q].i1 < runs[r].i0 {
				continue
			}
			sets.Union(q, r)
		}
	}
	label = make([]int, len(runs))
	for r := range runs {
		if root := sets.Find(r); root == r {
			label[r] = n
			n++
		} else {
			label[r] = label[root]
		}
	}
	return runs, label, n
}
