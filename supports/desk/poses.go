package desk

import (
	"context"
	"fmt"
	"math"
	"slices"

	"falsework/supports/plan"
	"falsework/supports/pose"

	"gonum.org/v1/gonum/spatial/r3"
)

// ranking is the poses of the part for some settings, the best first.
type ranking struct {
	settings plan.Settings
	clean    []float64 // of each triangle, how much zones keep clean
	poses    []pose.Pose
}

// Poses returns the part's poses, the best first, laid out for the plan's settings and what
// its zones keep clean. If they have yet to be ranked, that is begun and ok is false: the
// desk's views are told when it is done.
func (d *Desk) Poses() (poses []pose.Pose, ok bool, err error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	v := d.history[d.at]
	space, err := plan.NewSpace(v.plan.Zones, d.placed(v.turn))
	if err != nil {
		return nil, false, &Refused{Reason: err.Error()}
	}
	clean := space.Shares(plan.KeepClean, d.given)
	if d.poses != nil && d.poses.settings == v.plan.Settings && slices.EqualFunc(d.poses.clean, clean, sameShare) {
		return d.poses.poses, true, nil
	}
	s, err := v.plan.Resolve()
	if err != nil {
		return nil, false, err
	}
	return nil, false, d.begin("poses", "comparing ways up", func(ctx context.Context) error {
		o := pose.Options{Settings: s, Machine: d.o.Machine, CleanShares: clean, Workers: d.o.Workers}
		found, err := pose.Find(d.given, o)
		if err != nil {
			return err
		}
		for i := range found {
			if d.o.Room == nil {
				break
			}
			if err := d.o.Room(d.placed(found[i].Turn).Bounds(), s); err != nil {
				return err
			}
		}
		if err := pose.LayOut(ctx, d.given, found, o, func(n int) {
			share := float64(n) / float64(len(found))
			d.mu.Lock()
			defer d.mu.Unlock()
			if ctx.Err() == nil {
				d.working = &Working{"poses", fmt.Sprintf("laying out poses, %d of %d done", n, len(found)), &share}
				d.tell()
			}
		}); err != nil {
			return err
		}
		pose.Rank(found, o.Weights)
		d.mu.Lock()
		defer d.mu.Unlock()
		if ctx.Err() == nil {
			d.poses = &ranking{v.plan.Settings, clean, found}
		}
		return ctx.Err()
	})
}

// sameShare tells whether shares of one triangle are the same: zones that were turned with
// the part are rounded.
func sameShare(a, b float64) bool { return math.Abs(a-b) <= 0.02 }

// Turn turns the part from the way it was given. Lines and posts are left behind, since they
// belong to the pose; zones that are faces or cylinders turn with the part, boxes cannot. It
// is a revision of its own, so that undo brings everything back.
func (d *Desk) Turn(base int, t pose.Turn) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if base != d.revision {
		return ErrStale
	}
	was := d.history[d.at]
	if was.turn == t {
		return nil
	}
	now := version{copied(was.plan), t}
	p := &now.plan
	p.Lines, p.Posts, p.Struck, p.Drawn = []plan.Line{}, []plan.Post{}, plan.Past{}, plan.Past{}
	p.Sheets, p.Steps = nil, nil
	m := d.placed(t)
	p.Part = plan.Part{}
	*p = named(*p, d.o.Name, m)
	s, err := p.Resolve()
	if err != nil {
		return &Refused{Reason: err.Error()}
	}
	if err := d.room(now, s); err != nil {
		return &Refused{Reason: err.Error()}
	}
	move := d.between(was.turn, t)
	left := 0
	zones := p.Zones
	p.Zones = nil
	for _, z := range zones {
		switch {
		case z.Face != nil:
			z.Face = &plan.Face{At: move.point(z.Face.At), Normal: move.way(z.Face.Normal)}
		case z.Cylinder != nil:
			z.Cylinder = &plan.Cylinder{From: move.point(z.Cylinder.From), To: move.point(z.Cylinder.To), Radius: z.Cylinder.Radius}
		default:
			left++
			continue
		}
		p.Zones = append(p.Zones, z)
	}
	d.put(now, nil)
	if left > 0 {
		d.message = fmt.Sprintf("zones that are boxes cannot be turned and were left out: %d", left)
		d.tell()
	}
	return nil
}

// motion carries places of the part from one pose to another.
type motion struct {
	from, to pose.Turn
	// The middle of the part in both.
	was, is r3.Vec
}

func (d *Desk) between(from, to pose.Turn) motion {
	return motion{from, to, pose.Centroid(d.placed(from)), pose.Centroid(d.placed(to))}
}

func (m motion) way(v [3]float64) [3]float64 {
	w := m.to.Turned(m.from.Back(r3.Vec{X: v[0], Y: v[1], Z: v[2]}))
	return [3]float64{w.X, w.Y, w.Z}
}

func (m motion) point(v [3]float64) [3]float64 {
	p := m.to.Turned(m.from.Back(r3.Sub(r3.Vec{X: v[0], Y: v[1], Z: v[2]}, m.was)))
	return place(r3.Add(p, m.is))
}
