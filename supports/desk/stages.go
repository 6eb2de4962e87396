package desk

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/cost"
	"falsework/supports/grow"
	"falsework/supports/layout"
	"falsework/supports/need"
	"falsework/supports/plan"
	"falsework/supports/pose"
	"falsework/supports/prove"
	"falsework/supports/survey"

	"golang.org/x/sync/errgroup"
	"gonum.org/v1/gonum/spatial/r3"
)

// margin is what the grid has to spare round the part, in mm: room for a post's foot.
const margin = 5.0

// key says what a cut depends on besides the part.
type key struct {
	turn               pose.Turn
	first, layer, cell float64
}

func keyOf(v version, s supports.Settings) key {
	return key{v.turn, s.First, s.Layer, s.Cell}
}

// ground is a part in its pose, cut into layers: what plans stand on.
type ground struct {
	key    key
	mesh   *mesh.Mesh
	layers *raster.Stack
	under  *grow.Undersides
	sent   *sending
}

// sending is a part as it is sent, made when it is first asked for.
type sending struct {
	once sync.Once
	sent Sent
}

func (g *ground) send() Sent {
	g.sent.once.Do(func() { g.sent.sent = Send(g.mesh) })
	return g.sent.sent
}

// needed is what does not hold of a bare part.
type needed struct {
	ground   *ground
	settings plan.Settings
	taste    plan.Taste
	report   survey.Report

	once  sync.Once
	state NeedState // for the mesh that is sent
}

// built is what grew out of a plan.
type built struct {
	of     int // revision
	ground *ground
	solids []grow.Solid
	boxes  []r3.Box   // of each solid
	mesh   *mesh.Mesh // of all of them
	err    error      // where it cannot be built
}

// proved is what a proof found.
type proved struct {
	of     int
	built  *built
	report prove.Report
	bodies []int // of each solid, −1 for none
	err    error
}

// costed is what printing takes.
type costed struct {
	of       int
	supports cost.Estimate
	body     cost.Estimate
	compare  cost.Comparison
}

// bases is what does not change with the supports.
type bases struct {
	ground         *ground
	settings       plan.Settings
	body, baseline cost.Estimate
}

// results are the newest of each stage; nil before the first.
type results struct {
	need  *needed
	built *built
	proof *proved
	cost  *costed
	bases *bases
}

// ground returns the part as a version has it cut.
func (d *Desk) ground(v version) (*ground, error) {
	s, err := v.plan.Resolve()
	if err != nil {
		return nil, fmt.Errorf("desk: %w", err)
	}
	k := keyOf(v, s)
	d.cutting.Lock()
	defer d.cutting.Unlock()
	d.mu.Lock()
	have := d.grounds
	d.mu.Unlock()
	if have != nil && have.key == k {
		return have, nil
	}
	g := &ground{key: k}
	if have != nil && have.key.turn == v.turn {
		g.mesh, g.under, g.sent = have.mesh, have.under, have.sent
	} else {
		g.mesh = d.placed(v.turn)
		g.under, g.sent = grow.NewUndersides(g.mesh), &sending{}
	}
	if d.o.Room != nil {
		if err := d.o.Room(g.mesh.Bounds(), s); err != nil {
			return nil, err
		}
	}
	g.layers = raster.Section(g.mesh, raster.GridFor(g.mesh.Bounds(), s.Cell, margin), s.Layers(), d.o.Workers)
	d.mu.Lock()
	d.grounds = g
	d.mu.Unlock()
	return g, nil
}

// start works out what follows from the newest version. The lock is held.
func (d *Desk) start() {
	if d.stop != nil {
		d.stop()
	}
	ctx, stop := context.WithCancel(context.Background())
	d.stop = stop
	if d.closed {
		stop()
		return
	}
	d.tell()
	revision, v := d.revision, d.history[d.at]
	d.idle.Add(1)
	go func() {
		defer d.idle.Done()
		err := d.follow(ctx, revision, v)
		d.mu.Lock()
		defer d.mu.Unlock()
		if d.revision != revision {
			return
		}
		d.working = nil
		if err != nil && ctx.Err() == nil {
			d.message = err.Error()
		}
		d.tell()
	}()
}

// stage runs one stage once the one before it, of whatever revision, is done. It fails
// if the work was overtaken before or meanwhile.
func (d *Desk) stage(ctx context.Context, name, text string, run func() error) error {
	d.mu.Lock()
	if ctx.Err() == nil && d.long == nil {
		d.working, d.since = &Working{Stage: name, Text: text}, time.Now()
		d.tell()
	}
	d.mu.Unlock()
	select {
	case d.heavy <- struct{}{}:
	case <-ctx.Done():
		return ctx.Err()
	}
	defer func() { <-d.heavy }()
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if err := run(); err != nil {
		return err
	}
	return ctx.Err()
}

// publish puts a result on the desk unless it was overtaken.
func (d *Desk) publish(ctx context.Context, put func(*results)) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if ctx.Err() != nil {
		return
	}
	put(&d.done)
	d.tell()
}

// follow works out all that follows from one version.
func (d *Desk) follow(ctx context.Context, revision int, v version) error {
	s, err := v.plan.Resolve()
	if err != nil {
		return err
	}
	var g *ground
	if err := d.stage(ctx, "cut", "cutting layers", func() (err error) {
		g, err = d.ground(v)
		return err
	}); err != nil {
		return err
	}
	d.mu.Lock()
	have := d.done.need
	d.mu.Unlock()
	if have == nil || have.ground != g || have.settings != v.plan.Settings {
		n := &needed{ground: g, settings: v.plan.Settings, taste: v.plan.Taste}
		if err := d.stage(ctx, "need", "finding what does not hold", func() error {
			n.report = survey.Survey(g.mesh, g.layers, s, survey.Options{Workers: d.o.Workers})
			return nil
		}); err != nil {
			return err
		}
		d.publish(ctx, func(r *results) { r.need = n })
	}
	b := &built{of: revision, ground: g}
	if err := d.stage(ctx, "grow", "growing supports", func() error { b.grow(v.plan); return nil }); err != nil {
		return err
	}
	d.publish(ctx, func(r *results) { r.built = b })
	p := &proved{of: revision, built: b, err: b.err}
	if b.err == nil {
		if err := d.stage(ctx, "prove", "proving", func() error {
			p.report, _, p.err = Prove(v.plan, g.mesh, g.layers, b.solids, b.mesh, prove.Options{Workers: d.o.Workers, Memory: &d.memory})
			p.bodies = b.bodiesOf(p.report.Bodies)
			return nil
		}); err != nil {
			return err
		}
	}
	d.publish(ctx, func(r *results) { r.proof = p })
	if b.err != nil {
		return nil
	}
	return d.price(ctx, revision, v, s, b)
}

// grow builds the solids of a plan, as they are written.
func (b *built) grow(p plan.Plan) {
	b.mesh = &mesh.Mesh{}
	if b.err = layout.Check(p, b.ground.mesh, b.ground.layers); b.err != nil {
		// What cannot be granted is not baked; what of it can be built is shown.
		var impossible *layout.Impossible
		if !errors.As(b.err, &impossible) {
			return
		}
	}
	solids, err := grow.GrowUnder(p, b.ground.under, b.ground.layers)
	if err != nil {
		b.err = err
		return
	}
	b.solids = solids
	b.measure()
	for _, s := range solids {
		b.mesh.Append(s.Mesh)
	}
	b.mesh.Round32()
}

// Structures returns the solids of a plan under their ids, for the proof to name.
func Structures(solids []grow.Solid) []prove.Structure {
	var out []prove.Structure
	for _, s := range solids {
		out = append(out, prove.Structure{ID: s.ID, Mesh: s.Mesh})
	}
	return out
}

// Prove judges the supports of a plan as they are published: at the settings' own layers,
// the voids that bind, and the other layer heights that the plan declares. The layers are
// the part's, cut by the plan's settings; sup is the plan's solids as they are written.
func Prove(p plan.Plan, part *mesh.Mesh, layers *raster.Stack, solids []grow.Solid, sup *mesh.Mesh, o prove.Options) (report prove.Report, voids []prove.Void, err error) {
	s, err := p.Resolve()
	if err != nil {
		return report, nil, err
	}
	var eg errgroup.Group
	eg.Go(func() (err error) {
		voids, err = prove.Voids(part, sup, s)
		return err
	})
	report, err = prove.ProveCut(layers, []*mesh.Mesh{sup}, s, o)
	if err = errors.Join(err, eg.Wait()); err != nil {
		return report, voids, err
	}
	var under *grow.Undersides
	if len(p.Taste.Heights) > 0 {
		under = grow.NewUndersides(part)
	}
	o.Memory = nil // which is of the settings' own layers
	others := make([]prove.Report, len(p.Taste.Heights))
	binding := slices.Clone(voids)
	for n, h := range p.Taste.Heights {
		at, err := p.At(h)
		if err != nil {
			return report, voids, err
		}
		if others[n], err = prove.Prove(part, []*mesh.Mesh{sup}, at, o); err != nil {
			return report, voids, fmt.Errorf("layers of %g mm: %w", h, err)
		}
		if others[n].PartUnheldMM2 == 0 {
			for v := range binding {
				if binding[v].Binds && !binding[v].Own && binding[v].Layer == h {
					binding[v] = binding[v].Carried()
				}
			}
		}
	}
	report.Bind(binding)
	if under != nil {
		tellHeights(report.Reasons, under, s)
	}
	for n, h := range p.Taste.Heights {
		tellHeights(others[n].Reasons, under, s)
		report.Also(fmt.Sprintf("at layers of %g mm", h), others[n])
	}
	report.Name(Structures(solids))
	return report, voids, nil
}

// price works out what printing takes, once nothing was edited for a moment.
func (d *Desk) price(ctx context.Context, revision int, v version, s supports.Settings, b *built) error {
	select {
	case <-time.After(costDelay):
	case <-ctx.Done():
		return ctx.Err()
	}
	d.mu.Lock()
	base := d.done.bases
	d.mu.Unlock()
	g := b.ground
	if base == nil || base.ground != g || base.settings != v.plan.Settings {
		base = &bases{ground: g, settings: v.plan.Settings}
		for _, run := range []func(){
			func() { _, base.baseline = cost.Baseline(g.layers, s, d.o.Machine, cost.DefaultSpacing) },
			func() { base.body = cost.Part(g.layers, s, d.o.Machine) },
		} {
			if err := d.stage(ctx, "cost", "costing", func() error { run(); return nil }); err != nil {
				return err
			}
		}
		d.publish(ctx, func(r *results) { r.bases = base })
	}
	c := &costed{of: revision}
	if err := d.stage(ctx, "cost", "costing", func() error {
		// A foot may stand out beyond the part's grid.
		sup := raster.Section(b.mesh, raster.GridFor(b.mesh.Bounds(), s.Cell, margin), s.Layers(), d.o.Workers)
		c.supports = cost.Supports(sup, s, d.o.Machine)
		c.body = base.body
		c.compare = cost.Ratio(c.supports, base.baseline)
		return nil
	}); err != nil {
		return err
	}
	d.publish(ctx, func(r *results) { r.cost = c })
	return nil
}

// begin starts something long beside all else. The lock is held.
func (d *Desk) begin(name, text string, run func(ctx context.Context) error) error {
	if d.long != nil {
		return ErrBusy
	}
	ctx, cancel := context.WithCancel(context.Background())
	d.long = cancel
	d.working, d.since = &Working{Stage: name, Text: text}, time.Now()
	d.tell()
	d.idle.Add(1)
	go func() {
		defer d.idle.Done()
		defer cancel()
		done := make(chan error, 1)
		go func() { done <- run(ctx) }()
		var err error
		select {
		case err = <-done:
		case <-ctx.Done():
			err = ctx.Err()
		}
		d.mu.Lock()
		defer d.mu.Unlock()
		d.long, d.working = nil, nil
		switch {
		case errors.Is(err, context.Canceled):
			d.message = text + ": cancelled, nothing was changed"
		case err != nil:
			d.message = err.Error()
		}
		d.tell()
	}()
	return nil
}

// Cancel stops what is long at work, if anything is.
func (d *Desk) Cancel() {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.long != nil {
		d.long()
	}
}

// LayOut has the rest laid out around what is the designer's. It returns at once; the
// result is a revision of its own, unless the plan was changed or the work cancelled
// meanwhile.
func (d *Desk) LayOut(base int) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if base != d.revision {
		return ErrStale
	}
	v := d.history[d.at]
	return d.begin("layout", "laying out around what is yours", func(ctx context.Context) error {
		g, err := d.ground(v)
		if err != nil {
			return err
		}
		s, err := v.plan.Resolve()
		if err != nil {
			return err
		}
		p, bare, err := layout.Around(v.plan, d.o.Name, g.mesh, g.layers, need.Find(g.mesh, g.layers, s, d.o.Workers), d.o.Workers)
		if err != nil {
			return err
		}
		d.mu.Lock()
		defer d.mu.Unlock()
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if d.revision != base {
			return errors.New("the plan was changed while the rest was laid out, so that was left; lay out again")
		}
		d.put(version{p, v.turn}, refusals(layout.Check(p, g.mesh, g.layers)))
		for _, s := range bare {
			if s.Because != "" {
				d.message = s.String()
				break
			}
		}
		d.tell()
		return nil
	})
}
