package desk

import "context"

// view is one who watches a desk.
type view struct{ news chan struct{} }

// tell wakes every view. The lock is held.
func (d *Desk) tell() {
	for v := range d.views {
		select {
		case v.news <- struct{}{}:
		default: // has not looked since
		}
	}
}

// Status is what changes while nothing is edited.
type Status struct {
	Revision int
	Ready    Ready
	Working  *Working
	Message  string
	Closed   bool
}

// Watch calls f with the desk's status now and after every change, several changes in
// short order as one, until ctx ends, f fails or the desk is closed.
func (d *Desk) Watch(ctx context.Context, f func(Status) error) error {
	v := &view{make(chan struct{}, 1)}
	d.mu.Lock()
	d.views[v] = true
	d.mu.Unlock()
	defer func() {
		d.mu.Lock()
		delete(d.views, v)
		d.mu.Unlock()
	}()
	for {
		s := d.Status()
		if err := f(s); err != nil || s.Closed {
			return err
		}
		select {
		case <-v.news:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// Status returns the desk's status.
func (d *Desk) Status() Status {
	d.mu.Lock()
	defer d.mu.Unlock()
	return Status{Revision: d.revision, Ready: d.ready(), Working: d.working, Message: d.message, Closed: d.closed}
}
