package prove

import (
	"cmp"
	"slices"

	"falsework/raster"
	"falsework/supports"
)

// Worst returns what of a proof poses are told apart by: the verdict, of the reasons the
// first alone, and the contact with the part. They are those of ProveStacks; what could be
// told of nothing but lesser harm is not looked at.
func Worst(part, sup *raster.Stack, s supports.Settings, opt Options) (Report, error) {
	p, err := newProof(part, sup, s, opt)
	if err != nil {
		return Report{}, err
	}
	r := p.report()
	printed, _ := p.printed()
	p.partHolding(&r, p.judgePart(printed), nil)
	r.UnheldMM2 = r.PartUnheldMM2
	for _, look := range [...]func(*Report){
		func(r *Report) {
			p.supportsHolding(r, p.judgeSupports(printed), nil)
			p.closing(r)
		},
		p.colliding,
		p.locked,
		func(r *Report) { p.touching(r, p.touches()) },
		p.unsteady,
	} {
		if len(r.Reasons) > 0 {
			break
		}
		look(&r)
	}
	if len(r.Reasons) > 0 {
		sortByHarm(r.Reasons)
		r.Reasons = r.Reasons[:1]
		r.Verdict = Fails
	}
	return Report{Verdict: r.Verdict, Reasons: r.Reasons, ContactMM2: r.ContactMM2}, nil
}

// colliding reads off collisions.
func (p *proof) colliding(r *Report) {
	t := touches{overlap: make([]raster.Bits, min(len(p.sup.Cut), len(p.part.Cut)))}
	eachLayer(len(t.overlap), p.workers, func(k int) {
		t.overlap[k] = crop(raster.And(&p.sup.Cut[k], &p.part.Cut[k]))
	})
	t.overlap = p.collisions(t.overlap)
	p.overlapping(r, t.overlap)
}

// locked reads off which bodies do not come off, until no other can be a worse reason: those
// with no way out first, the largest in front, then those that are held by more than a hand.
func (p *proof) locked(r *Report) {
	layers, n := connect(p.sup, p.workers)
	r.Bodies = p.measure(layers, n)
	bonds := p.bonds(layers, n)
	p.bonded(r, bonds)
	barred := p.ways(layers, n)
	cells := p.shut(layers, barred)
	p.leaving(r, barred, make([]Way, n))
	// An oblique way is only looked for once it matters.
	order := make([]int, n)
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(r.Bodies[b].VolumeMM3, r.Bodies[a].VolumeMM3) })
	worst := 0.0
	for _, i := range order {
		b := &r.Bodies[i]
		if b.VolumeMM3 < worst {
			return
		}
		if !b.Blocked {
			continue
		}
		if way := p.obliqueOf(cells[i]); way != "" {
			b.Blocked = false
			continue
		}
		if p.inParts(r, layers, i, &bonds[i]); b.Pieces == nil {
			worst = b.VolumeMM3
		}
	}
	if worst > 0 {
		return
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(r.Bodies[b].BondMM2, r.Bodies[a].BondMM2) })
	for _, i := range order {
		b := &r.Bodies[i]
		if b.BondMM2 < worst {
			return
		}
		if b.Blocked || !b.strong() {
			continue
		}
		if p.inParts(r, layers, i, &bonds[i]); b.Pieces == nil {
			worst = b.BondMM2
		}
	}
}

// unsteady reads off what sways too far or lets go of the plate, where that fails.
func (p *proof) unsteady(r *Report) {
	if !p.steady {
		return
	}
	layers, n := connect(p.sup, p.workers)
	r.Bodies = p.measure(layers, n)
	p.stands(r, p.standing(layers, n))
}
