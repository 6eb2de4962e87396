package desk_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"testing"

	"falsework/mesh"
	"falsework/mesh/meshtest"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/desk"
	"falsework/supports/layout"
	"falsework/supports/need"
	"falsework/supports/plan"
)

// blobOnDesk returns a desk with a blob and the plan that is drawn for it, all of it worked
// out.
func blobOnDesk(b *testing.B, triangles int) (*desk.Desk, *mesh.Mesh) {
	b.Helper()
	s, err := supports.Settings{}.Resolve()
	if err != nil {
		b.Fatal(err)
	}
	m := meshtest.Blob(triangles)
	m.Round32()
	part := raster.Section(m, raster.GridFor(m.Bounds(), s.Cell, 5), s.Layers(), 0)
	p := layout.Layout("blob", m, part, need.Find(m, part, s, 0), s, 0)
	d, err := desk.New(m, p, desk.Options{Name: "blob"})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { d.Close(); d.Wait() })
	until(b, d, func(r desk.Ready) bool { return r.Cost })
	return d, m
}

var errReady = errors.New("ready")

// until waits for results of the newest revision.
func until(t testing.TB, d *desk.Desk, ready func(desk.Ready) bool) {
	t.Helper()
	err := d.Watch(context.Background(), func(s desk.Status) error {
		if ready(s.Ready) {
			return errReady
		}
		return nil
	})
	if !errors.Is(err, errReady) {
		t.Fatalf("watching ended early: %v", err)
	}
}

// nudge moves a post to and fro.
func nudge(b *testing.B, d *desk.Desk, n int) {
	b.Helper()
	revision, p, _ := d.Version()
	q := hollow(p)
	by := 0.1
	if n%2 == 1 {
		by = -by
	}
	r, err := desk.DecodeRequest(fmt.Appendf(nil, `{"base": %d, "edits": [{"op": "move", "id": %q, "by": [%g, 0]}]}`, revision, q.ID, by))
	if err != nil {
		b.Fatal(err)
	}
	if err := d.Edit(r.Base, r.Edits); err != nil {
		b.Fatal(err)
	}
}

func hollow(p plan.Plan) plan.Post {
	for _, q := range p.Posts {
		if q.Side > 0 {
			return q
		}
	}
	return p.Posts[0]
}

// BenchmarkEdit is the time from an edit to its answer, while what follows from the edits
// before is at work beside it. Rates are in bytes of the part's binary STL file.
func BenchmarkEdit(b *testing.B) {
	d, m := blobOnDesk(b, 100_000)
	b.Run("blob/100k", func(b *testing.B) {
		b.SetBytes(int64(84 + 50*len(m.Triangles)))
		b.ReportAllocs()
		n := 0
		for b.Loop() {
			nudge(b, d, n)
			n++
			data, err := json.Marshal(d.State())
			if err != nil {
				b.Fatal(err)
			}
			b.ReportMetric(float64(len(data)), "answer-B")
		}
	})
}

// BenchmarkFollow is the time from an edit to the whole proof of what it gave.
func BenchmarkFollow(b *testing.B) {
	d, m := blobOnDesk(b, 100_000)
	b.Run("blob/100k", func(b *testing.B) {
		b.SetBytes(int64(84 + 50*len(m.Triangles)))
		b.ReportAllocs()
		n := 0
		for b.Loop() {
			nudge(b, d, n)
			n++
			until(b, d, func(r desk.Ready) bool { return r.Proof })
		}
	})
}

// BenchmarkLayer is the time that one layer takes to be shown.
func BenchmarkLayer(b *testing.B) {
	d, m := blobOnDesk(b, 100_000)
	top := m.Bounds().Max.Z
	b.Run("blob/100k", func(b *testing.B) {
		b.SetBytes(int64(84 + 50*len(m.Triangles)))
		b.ReportAllocs()
		n := 0
		for b.Loop() {
			if _, err := json.Marshal(d.Layer(top * float64(n%17) / 17)); err != nil {
				b.Fatal(err)
			}
			n++
		}
	})
}

// BenchmarkSend is the time that a part takes to be made ready for sending.
func BenchmarkSend(b *testing.B) {
	for _, n := range []int{100_000, 1_000_000} {
		m := meshtest.Blob(n)
		b.Run(fmt.Sprintf("blob/%dk", n/1000), func(b *testing.B) {
			b.SetBytes(int64(84 + 50*len(m.Triangles)))
			b.ReportAllocs()
			var sent desk.Sent
			for b.Loop() {
				sent = desk.Send(m)
			}
			b.ReportMetric(float64(len(sent.Data)), "sent-B")
			b.ReportMetric(float64(len(sent.Mesh.Triangles)), "sent-triangles")
		})
	}
}
