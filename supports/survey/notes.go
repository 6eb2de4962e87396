package survey

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"falsework/raster"
	"falsework/supports/need"

	"golang.org/x/sync/errgroup"
)

// marginalTold is the least area of marginal ledges that is told, in mm².
const marginalTold = 0.1

// notes tells of bores that hold and of marginal ledges.
func (v *surveyor) notes(n need.Need, told map[int]int) []Note {
	var out []Note
	for i := range v.bores {
		b := &v.bores[i]
		c := b.Crown(v.s.Limit)
		if _, failing := told[i]; failing || c.Radius == 0 {
			continue
		}
		text := fmt.Sprintf("the bore of %.2f mm diameter, %.1f mm long, holds as it is: its %s", 2*b.Radius, b.Length(), c)
		out = append(out, Note{Name: "bore holds", Text: text, X: b.Point.X, Y: b.Point.Y, Z: b.Point.Z})
	}
	if n.MarginalMM2 >= marginalTold {
		out = append(out, Note{Name: "marginal ledges", Text: fmt.Sprintf(
			"%.1f mm² stand out by more than the limit but less than a line (%.2g mm): they print, and may droop",
			n.MarginalMM2, v.s.Ledge())})
	}
	return out
}

// thin returns where walls are thinner than a line, one note for each stack of
// layers, the tallest first.
func (v *surveyor) thin(workers int) []Note {
	// A wall that is a cell short of a line may be one that rounding took it off.
	half := (v.s.Line/v.part.Cell - 1) / 2
	core, back := raster.DiscOf(half-0.5), raster.DiscOf(half+1)
	least := int(math.Pow(v.s.Line/v.part.Cell, 2))
	found := make([][]raster.Piece, len(v.part.Cut))
	var eg errgroup.Group
	eg.SetLimit(workers)
	// What stands no higher than a layer is no wall: every second one will do.
	for k := 0; k < len(v.part.Cut); k += 2 {
		eg.Go(func() error {
			b := v.part.Layer(k)
			inner := raster.Erode(b, core)
			rest := raster.Beyond(b, &inner, back)
			if rest.Empty() {
				return nil
			}
			for _, p := range raster.Pieces(&rest) {
				if p.Area >= least {
					found[k] = append(found[k], p)
				}
			}
			return nil
		})
	}
	_ = eg.Wait() // the tasks return no error
	type stack struct {
		k0, k1 int
		last   raster.Piece
	}
	var stacks []stack
	for k, pieces := range found {
		for _, p := range pieces {
			at := slices.IndexFunc(stacks, func(s stack) bool {
				q := &s.last
				return k-s.k1 <= 2 && p.X0 < q.X1 && q.X0 < p.X1 && p.Y0 < q.Y1 && q.Y0 < p.Y1
			})
			if at < 0 {
				stacks = append(stacks, stack{k, k, p})
				continue
			}
			stacks[at].k1, stacks[at].last = k, p
		}
	}
	slices.SortStableFunc(stacks, func(a, b stack) int { return cmp.Compare(b.k1-b.k0, a.k1-a.k0) })
	var out []Note
	for _, s := range stacks {
		at := v.part.Center((s.last.X0+s.last.X1)/2, (s.last.Y0+s.last.Y1)/2)
		lo, hi := v.part.Bottom(s.k0), v.part.Top(s.k1)
		out = append(out, Note{Name: "thin wall", X: at.X, Y: at.Y, Z: lo, Text: fmt.Sprintf(
			"from z %.1f to %.1f mm something is thinner than a line of %.2g mm and may be left out: thicken it to a line or more",
			lo, hi, v.s.Line)})
	}
	return out
}
