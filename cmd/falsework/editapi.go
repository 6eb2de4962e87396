package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"mime"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"time"

	"falsework/mesh"
	"falsework/supports/desk"
	"falsework/supports/layout"
	"falsework/supports/pose"

	"gonum.org/v1/gonum/spatial/r3"
)

// deskStatus is what streams of events tell.
type deskStatus = desk.Status

// pulse is how often a stream of events says that it is there.
const pulse = 15 * time.Second

// api answers a request that has the token.
func (s *server) api(w http.ResponseWriter, r *http.Request) {
	routes := map[string]func(http.ResponseWriter, *http.Request){
		"GET /api/part": s.getPart, "GET /api/part/mesh": s.getMesh, "GET /api/state": s.getState,
		"GET /api/supports/mesh": s.getSupports, "GET /api/layer": s.getLayer, "GET /api/why": s.getWhy,
		"GET /api/events": s.getEvents, "GET /api/poses": s.getPoses,
		"POST /api/edit": s.postEdit, "POST /api/undo": s.based(s.undo), "POST /api/redo": s.based(s.redo),
		"POST /api/layout": s.based(s.layOut), "POST /api/pose": s.postPose, "POST /api/save": s.based(s.save),
		"POST /api/bake": s.based(s.bake), "POST /api/cancel": s.cancel,
	}
	do := routes[r.Method+" "+r.URL.Path]
	if do == nil {
		refuse(w, http.StatusNotFound, fmt.Errorf("there is no %s %s", r.Method, r.URL.Path))
		return
	}
	do(w, r)
}

func (s *server) state() desk.State {
	state := s.e.desk.State()
	state.PlanPath = s.e.o.plan
	return state
}

// partState says what was opened.
type partState struct {
	Name      string     `json:"name"`
	Triangles int        `json:"triangles"`
	Sent      int        `json:"sent_triangles"`
	Bytes     int        `json:"bytes"` // of the mesh, not packed
	SizeMM    [3]float64 `json:"size_mm"`
	Min       [3]float64 `json:"min"`
	Max       [3]float64 `json:"max"`
	Pose      struct {
		TurnDeg [3]float64 `json:"turn_deg"`
	} `json:"pose"`
	Warnings []string `json:"warnings"`
}

func (s *server) getPart(w http.ResponseWriter, r *http.Request) {
	m, turn, sent := s.e.desk.Part()
	b := m.Bounds()
	p := partState{
		Name: stem(s.e.o.part), Triangles: len(m.Triangles), Sent: len(sent.Mesh.Triangles), Bytes: len(sent.Data), SizeMM: sizeOf(m),
		Min: [3]float64{b.Min.X, b.Min.Y, b.Min.Z}, Max: [3]float64{b.Max.X, b.Max.Y, b.Max.Z}, Warnings: append([]string{}, s.e.warnings...),
	}
	p.Pose.TurnDeg = turnOf(turn)
	answer(w, r, http.StatusOK, p)
}

func (s *server) getMesh(w http.ResponseWriter, r *http.Request) {
	_, _, sent := s.e.desk.Part()
	w.Header().Set("Content-Type", "application/octet-stream")
	send(w, r, sent.Data)
}

func (s *server) getState(w http.ResponseWriter, r *http.Request) {
	answer(w, r, http.StatusOK, s.state())
}

func (s *server) getSupports(w http.ResponseWriter, r *http.Request) {
	revision, pieces := s.e.desk.Supports()
	w.Header().Set("Content-Type", "application/octet-stream")
	w.Header().Set("Falsework-Revision", strconv.Itoa(revision))
	send(w, r, desk.EncodeSupports(pieces))
}

// numbers reads finite numbers of a query, nil where one is none.
func numbers(r *http.Request, names ...string) ([]float64, error) {
	var out []float64
	for _, name := range names {
		v, err := strconv.ParseFloat(r.URL.Query().Get(name), 64)
		if err != nil || !(v > -mesh.MaxCoordinate && v < mesh.MaxCoordinate) {
			return nil, fmt.Errorf("%s is no length", name)
		}
		out = append(out, v)
	}
	return out, nil
}

func (s *server) getLayer(w http.ResponseWriter, r *http.Request) {
	v, err := numbers(r, "z")
	if err != nil {
		refuse(w, http.StatusBadRequest, err)
		return
	}
	answer(w, r, http.StatusOK, s.e.desk.Layer(v[0]))
}

func (s *server) getWhy(w http.ResponseWriter, r *http.Request) {
	v, err := numbers(r, "x", "y", "z", "nx", "ny", "nz")
	if err != nil {
		refuse(w, http.StatusBadRequest, err)
		return
	}
	answer(w, r, http.StatusOK, s.e.desk.Why(r3.Vec{X: v[0], Y: v[1], Z: v[2]}, r3.Vec{X: v[3], Y: v[4], Z: v[5]}))
}

// getEvents streams what changes until the browser or the session ends.
func (s *server) getEvents(w http.ResponseWriter, r *http.Request) {
	out := http.NewResponseController(w)
	// The stream is read to its end by no deadline.
	_ = out.SetReadDeadline(time.Time{})
	w.Header().Set("Content-Type", "text/event-stream")
	var mu sync.Mutex // of the stream
	write := func(text string) error {
		mu.Lock()
		defer mu.Unlock()
		_ = out.SetWriteDeadline(time.Now().Add(pulse)) // who does not read is gone
		if _, err := w.Write([]byte(text)); err != nil {
			return err
		}
		return out.Flush()
	}
	event := func(name string, v any) error {
		data, err := json.Marshal(v)
		if err != nil {
			return err
		}
		return write(fmt.Sprintf("event: %s\ndata: %s\n\n", name, data))
	}
	done, beat := make(chan struct{}), make(chan struct{})
	defer func() {
		close(done)
		<-beat
	}()
	go func() {
		defer close(beat)
		t := time.NewTicker(pulse)
		defer t.Stop()
		for {
			select {
			case <-t.C:
				if write(": here\n\n") != nil {
					return
				}
			case <-done:
				return
			case <-r.Context().Done():
				return
			}
		}
	}()
	_ = s.e.desk.Watch(r.Context(), func(st deskStatus) error {
		if st.Closed {
			return event("closed", struct{}{})
		}
		if err := event("state", map[string]any{"revision": st.Revision, "ready": st.Ready, "message": st.Message}); err != nil {
			return err
		}
		return event("progress", st.Working)
	})
}

// outcome answers for what was asked of the desk: with the state, or why not.
func (s *server) outcome(w http.ResponseWriter, r *http.Request, done int, err error) {
	var refused *desk.Refused
	var impossible *layout.Impossible
	switch {
	case err == nil && done == http.StatusOK:
		answer(w, r, done, s.state())
	case err == nil:
		answer(w, r, done, struct{}{})
	case errors.Is(err, desk.ErrStale), errors.Is(err, desk.ErrBusy):
		answer(w, r, http.StatusConflict, map[string]any{"error": err.Error(), "state": s.state()})
	case errors.As(err, &refused):
		answer(w, r, http.StatusUnprocessableEntity, map[string]any{"error": oneLine(err), "id": refused.ID, "reason": refused.Reason})
	case errors.As(err, &impossible):
		first := impossible.Refusals[0]
		answer(w, r, http.StatusUnprocessableEntity, map[string]any{"error": oneLine(err), "id": first.ID, "reason": first.Reason})
	default:
		refuse(w, http.StatusUnprocessableEntity, err)
	}
}

// malformed answers for a body that cannot be read.
func badRequest(w http.ResponseWriter, err error) {
	var large *http.MaxBytesError
	if errors.As(err, &large) {
		refuse(w, http.StatusRequestEntityTooLarge, fmt.Errorf("more than %d bytes at once", large.Limit))
		return
	}
	refuse(w, http.StatusBadRequest, err)
}

func (s *server) postEdit(w http.ResponseWriter, r *http.Request) {
	data, err := body(r)
	if err != nil {
		badRequest(w, err)
		return
	}
	var refused *desk.Refused
	q, err := desk.DecodeRequest(data)
	switch {
	case errors.As(err, &refused):
		s.outcome(w, r, 0, refused)
	case err != nil:
		badRequest(w, err)
	default:
		s.outcome(w, r, http.StatusOK, s.e.desk.Edit(q.Base, q.Edits))
	}
}

// baseRequest names the revision that is meant, and for a pose the turn.
type baseRequest struct {
	Base    *int        `json:"base"`
	TurnDeg *[3]float64 `json:"turn_deg"`
}

func readBase(r *http.Request) (q baseRequest, err error) {
	data, err := body(r)
	if err != nil {
		return q, err
	}
	dec := json.NewDecoder(strings.NewReader(string(data)))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&q); err != nil {
		return q, err
	}
	if q.Base == nil {
		return q, errors.New("base is missing: the revision that is meant")
	}
	return q, nil
}

// based hands a request for a revision on.
func (s *server) based(do func(w http.ResponseWriter, r *http.Request, base int)) func(http.ResponseWriter, *http.Request) {
	return func(w http.ResponseWriter, r *http.Request) {
		q, err := readBase(r)
		if err != nil {
			badRequest(w, err)
			return
		}
		do(w, r, *q.Base)
	}
}

func (s *server) undo(w http.ResponseWriter, r *http.Request, base int) {
	s.outcome(w, r, http.StatusOK, s.e.desk.Undo(base))
}

func (s *server) redo(w http.ResponseWriter, r *http.Request, base int) {
	s.outcome(w, r, http.StatusOK, s.e.desk.Redo(base))
}

func (s *server) layOut(w http.ResponseWriter, r *http.Request, base int) {
	s.outcome(w, r, http.StatusAccepted, s.e.desk.LayOut(base))
}

func (s *server) cancel(w http.ResponseWriter, r *http.Request) {
	s.e.desk.Cancel()
	answer(w, r, http.StatusOK, struct{}{})
}

func (s *server) postPose(w http.ResponseWriter, r *http.Request) {
	q, err := readBase(r)
	if err == nil && q.TurnDeg == nil {
		err = errors.New("turn_deg is missing")
	}
	if err != nil {
		badRequest(w, err)
		return
	}
	t := pose.Turn{XDeg: q.TurnDeg[0], YDeg: q.TurnDeg[1], ZDeg: q.TurnDeg[2]}
	if t, err = pose.ParseTurn(t.String()); err != nil {
		badRequest(w, err)
		return
	}
	s.outcome(w, r, http.StatusAccepted, s.e.desk.Turn(*q.Base, t))
}

func (s *server) getPoses(w http.ResponseWriter, r *http.Request) {
	poses, ok, err := s.e.desk.Poses()
	switch {
	case err != nil && !errors.Is(err, desk.ErrBusy):
		s.outcome(w, r, 0, err)
	case !ok:
		answer(w, r, http.StatusAccepted, struct{}{})
	default:
		answer(w, r, http.StatusOK, map[string]any{"poses": (&posing{poses: poses}).rows()})
	}
}

func (s *server) save(w http.ResponseWriter, r *http.Request, base int) {
	p, t, err := s.e.desk.At(base)
	if err != nil {
		s.outcome(w, r, 0, err)
		return
	}
	if err := s.e.file.save(p); err != nil {
		refuse(w, http.StatusConflict, err)
		return
	}
	s.e.desk.Saved(p, t)
	answer(w, r, http.StatusOK, map[string]any{"path": s.e.o.plan, "saved_revision": base, "bake": s.bakeLine(t)})
}

// bakeLine is the command that builds the saved plan.
func (s *server) bakeLine(t pose.Turn) string {
	line := "falsework bake " + s.e.o.part + " --plan " + s.e.o.plan
	if t != (pose.Turn{}) {
		line += " --pose " + t.String()
	}
	return line + " --out DIR"
}

// bake answers with all files that bake would write for the plan, in one archive.
func (s *server) bake(w http.ResponseWriter, r *http.Request, base int) {
	p, t, err := s.e.desk.At(base)
	if err != nil {
		s.outcome(w, r, 0, err)
		return
	}
	files, err := s.e.bake(r.Context(), p, t, &s.baked)
	if err != nil {
		s.outcome(w, r, 0, err)
		return
	}
	data, err := archive(files)
	if err != nil {
		refuse(w, http.StatusInternalServerError, err)
		return
	}
	w.Header().Set("Content-Type", "application/zip")
	w.Header().Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": stem(s.e.o.part) + ".zip"}))
	w.Header().Set("Content-Length", strconv.Itoa(len(data)))
	_, _ = w.Write(data)
}
