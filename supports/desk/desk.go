package desk

import (
	"context"
	"errors"
	"fmt"
	"reflect"
	"runtime"
	"sync"
	"time"

	"falsework/mesh"
	"falsework/supports"
	"falsework/supports/cost"
	"falsework/supports/layout"
	"falsework/supports/plan"
	"falsework/supports/pose"
	"falsework/supports/prove"

	"gonum.org/v1/gonum/spatial/r3"
)

// Options are what a desk is told besides the part and the plan.
type Options struct {
	// Name is what plans call the part: the base name of its file.
	Name string
	// Turn is the pose that the plan is for; the zero value leaves the part as given.
	Turn    pose.Turn
	Machine cost.Machine
	// Room refuses parts that would not fit in memory when they are cut; nil refuses none.
	Room func(box r3.Box, s supports.Settings) error
	// Workers bounds the tasks at work in a stage; 0 means one for each processor.
	Workers int
}

// ErrStale is the error for an edit of another revision than the newest.
var ErrStale = errors.New("the plan was changed elsewhere meanwhile")

// ErrBusy is the error for a long stage that was asked for while another one runs.
var ErrBusy = errors.New("something long is at work already; cancel it or wait")

// Refused is a wish that cannot be granted.
type Refused struct {
	ID     string // of the structure or zone; may be empty
	Reason string
}

func (e *Refused) Error() string {
	if e.ID == "" {
		return e.Reason
	}
	return e.ID + ": " + e.Reason
}

// version is one state of the work. It is never changed once made.
type version struct {
	plan plan.Plan
	turn pose.Turn
}

// Desk is a part and its plan at work. Make one by New, and Close it.
type Desk struct {
	given *mesh.Mesh
	o     Options

	mu       sync.Mutex
	history  []version
	at       int // of the history
	revision int // of what is at work
	saved    version
	known    map[layout.Refusal]bool // wishes that could not be granted when they were read
	message  string
	done     results
	grounds  *ground // of the newest cut
	stop     context.CancelFunc
	working  *Working
	since    time.Time
	long     context.CancelFunc
	poses    *ranking
	views    map[*view]bool
	closed   bool

	heavy   chan struct{} // held by the stage at work
	memory  prove.Memory  // of the stage that proves
	idle    sync.WaitGroup
	cutting sync.Mutex
}

// costDelay is how long the cost waits for the next edit, since working it out delays
// what is waited for.
const costDelay = 400 * time.Millisecond

// New puts a part in the pose it was read in and a plan for it on the desk. Errors are
// those of a plan that cannot be, and of Options.Room.
func New(m *mesh.Mesh, p plan.Plan, o Options) (*Desk, error) {
	if o.Workers <= 0 {
		o.Workers = runtime.GOMAXPROCS(0)
	}
	d := &Desk{given: m, o: o, revision: 1, views: map[*view]bool{}, heavy: make(chan struct{}, 1)}
	p = named(p, o.Name, d.placed(o.Turn))
	if err := p.Validate(); err != nil {
		return nil, fmt.Errorf("desk: %w", err)
	}
	first := version{p, o.Turn}
	g, err := d.ground(first)
	if err != nil {
		return nil, err
	}
	d.history, d.saved = []version{first}, first
	d.known = refusals(layout.Check(p, g.mesh, g.layers))
	d.mu.Lock()
	defer d.mu.Unlock()
	d.start()
	return d, nil
}

// named puts the part into a plan that has none yet.
func named(p plan.Plan, name string, m *mesh.Mesh) plan.Plan {
	p.Version = plan.Version
	if p.Part == (plan.Part{}) {
		b := m.Bounds()
		s := r3.Sub(b.Max, b.Min)
		p.Part = plan.Part{Name: name, Triangles: len(m.Triangles), Size: [3]float64{s.X, s.Y, s.Z}}
	}
	return p
}

// placed returns the part in a pose; as given, it stands where it stood in its file.
func (d *Desk) placed(t pose.Turn) *mesh.Mesh {
	if t == (pose.Turn{}) {
		return d.given
	}
	return t.Place(d.given)
}

// Part returns the part in the pose that was cut last, and how it is sent: as long as a new
// pose has yet to be cut, that of before.
func (d *Desk) Part() (*mesh.Mesh, pose.Turn, Sent) {
	d.mu.Lock()
	g := d.grounds
	d.mu.Unlock()
	return g.mesh, g.key.turn, g.send()
}

// Close ends all work and closes every view. What is at work in a stage is left to end
// by itself.
func (d *Desk) Close() {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.closed {
		return
	}
	d.closed = true
	d.stop()
	if d.long != nil {
		d.long()
	}
	d.tell()
}

// Wait returns once nothing is at work any more.
func (d *Desk) Wait() { d.idle.Wait() }

// Version returns what is at work: its revision, the plan and the pose.
func (d *Desk) Version() (revision int, p plan.Plan, t pose.Turn) {
	d.mu.Lock()
	defer d.mu.Unlock()
	v := d.history[d.at]
	return d.revision, v.plan, v.turn
}

// At returns plan and pose of a revision if that is the newest, else ErrStale.
func (d *Desk) At(base int) (p plan.Plan, t pose.Turn, err error) {
	revision, p, t := d.Version()
	if base != revision {
		return p, t, ErrStale
	}
	return p, t, nil
}

// Saved notes that a plan was written to its file, and is what is on record from now on.
func (d *Desk) Saved(p plan.Plan, t pose.Turn) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.saved = version{p, t}
	d.message = ""
	d.tell()
}

// Unsaved tells whether the work differs from what is on record.
func (d *Desk) Unsaved() bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.unsaved()
}

func (d *Desk) unsaved() bool {
	v := d.history[d.at]
	return v.turn != d.saved.turn || !reflect.DeepEqual(v.plan, d.saved.plan)
}

// Say shows one line in every view, such as what was recovered.
func (d *Desk) Say(message string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.message = message
	d.tell()
}

// Edit applies edits, all or none, to a revision. It returns ErrStale if that is not the
// newest, and a *Refused for a wish that cannot be granted; wishes that could not be
// granted before are let be.
func (d *Desk) Edit(base int, edits []Edit) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if base != d.revision {
		return ErrStale
	}
	was := d.history[d.at]
	now := version{copied(was.plan), was.turn}
	for _, e := range edits {
		if err := e.apply(&now.plan, d.grounds); err != nil {
			return err
		}
	}
	known, err := d.granted(now)
	if err != nil {
		return err
	}
	d.put(now, known)
	return nil
}

// granted tells what of a version cannot be granted, and refuses it for what could be
// before.
func (d *Desk) granted(v version) (map[layout.Refusal]bool, error) {
	if err := v.plan.Validate(); err != nil {
		return nil, &Refused{Reason: err.Error()}
	}
	s, err := v.plan.Resolve()
	if err != nil {
		return nil, &Refused{Reason: err.Error()}
	}
	g := d.grounds
	if g.key != keyOf(v, s) {
		// The part has to be cut anew first, which may take longer than an answer.
		if err := d.room(v, s); err != nil {
			return nil, &Refused{Reason: err.Error()}
		}
		return d.known, nil
	}
	err = layout.Check(v.plan, g.mesh, g.layers)
	now := refusals(err)
	var impossible *layout.Impossible
	if errors.As(err, &impossible) {
		for _, r := range impossible.Refusals {
			if !d.known[r] {
				return nil, &Refused{r.ID, r.Reason}
			}
		}
	}
	return now, nil
}

func (d *Desk) room(v version, s supports.Settings) error {
	if d.o.Room == nil {
		return nil
	}
	return d.o.Room(d.placed(v.turn).Bounds(), s)
}

func refusals(err error) map[layout.Refusal]bool {
	out := map[layout.Refusal]bool{}
	var impossible *layout.Impossible
	if errors.As(err, &impossible) {
		for _, r := range impossible.Refusals {
			out[r] = true
		}
	}
	return out
}

// put makes a version the newest; what was undone is forgotten.
func (d *Desk) put(v version, known map[layout.Refusal]bool) {
	d.history = append(d.history[:d.at+1:d.at+1], v)
	d.at++
	d.known = known
	d.next()
}

// next gives what is at work a new revision and starts on what follows from it.
func (d *Desk) next() {
	d.revision++
	d.message = ""
	d.start()
}

// Undo goes back by one version, Redo forward again.
func (d *Desk) Undo(base int) error { return d.step(base, -1) }

// Redo goes forward by one version that was undone.
func (d *Desk) Redo(base int) error { return d.step(base, +1) }

func (d *Desk) step(base, by int) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if base != d.revision {
		return ErrStale
	}
	to := d.at + by
	if to < 0 || to >= len(d.history) {
		return &Refused{Reason: "there is nothing more to take back or to do again"}
	}
	d.at = to
	// What was granted once is not asked again: the next edit is judged beside it.
	v := d.history[to]
	if s, err := v.plan.Resolve(); err == nil && d.grounds.key == keyOf(v, s) {
		d.known = refusals(layout.Check(v.plan, d.grounds.mesh, d.grounds.layers))
	}
	d.next()
	return nil
}

// Recover takes up work that was not saved, as a version of its own on top of the first.
// Unlike an edit it may hold what cannot be granted: it was there before.
func (d *Desk) Recover(p plan.Plan, t pose.Turn, message string) error {
	v := version{p, t}
	if err := p.Validate(); err != nil {
		return err
	}
	if _, err := d.ground(v); err != nil {
		return err
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	d.put(v, refusals(layout.Check(p, d.grounds.mesh, d.grounds.layers)))
	d.message = message
	d.tell()
	return nil
}
