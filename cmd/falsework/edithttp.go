package main

import (
	"compress/gzip"
	"context"
	"crypto/rand"
	"crypto/subtle"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"net/http"
	"net/url"
	"path"
	"strings"
	"sync"
	"time"
)

const (
	// mostBody bounds what a request may send, in bytes.
	mostBody = 1 << 20
	// headerTime and readTime bound how long a request may take to arrive; idleTime how
	// long a connection may wait for the next one.
	headerTime, readTime, idleTime = 5 * time.Second, 15 * time.Second, 2 * time.Minute
	// endTime is how long answers may take to finish when the session ends.
	endTime = 2 * time.Second
	// tokenHeader carries the token of the session.
	tokenHeader = "Falsework-Token"
)

// policy is what the page may do: what comes from this server, and no script or style
// that stands in the page itself.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; " +
	"connect-src 'self'; font-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// server is the session as the browser sees it.
type server struct {
	e      *editing
	token  string
	hosts  map[string]bool // that a request may name, lower case, with the port
	origin map[string]bool

	baked sync.Mutex // one bake at a time
}

// serve answers until ctx ends.
func (e *editing) serve(ctx context.Context, io streams, l net.Listener) error {
	s, address, err := newServer(e, l.Addr())
	if err != nil {
		return errors.Join(err, l.Close())
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	web := &http.Server{
		Handler: s, ReadHeaderTimeout: headerTime, ReadTimeout: readTime, IdleTimeout: idleTime, MaxHeaderBytes: 64 << 10,
	}
	kept := make(chan error, 1)
	go func() { kept <- e.autosave(ctx, io) }()
	served := make(chan error, 1)
	go func() { served <- web.Serve(l) }()
	fmt.Fprintf(io.out, "Edit %s at\n\n    %s\n\nThe address lets whoever has it edit the plan. End with Ctrl-C.\n", e.o.plan, address)
	if !e.o.noBrowser {
		if err := e.o.open(address); err != nil {
			fmt.Fprintf(io.err, "warning: no browser could be opened (%v): open the address yourself\n", err)
		}
	}
	select {
	case err = <-served:
	case <-ctx.Done():
		e.desk.Close() // which ends the streams of events
		end, cancel := context.WithTimeout(context.Background(), endTime)
		defer cancel()
		if web.Shutdown(end) != nil {
			_ = web.Close() // whoever still waits has had time
		}
		err = <-served
	}
	stop()
	if errors.Is(err, http.ErrServerClosed) {
		err = nil
	}
	if err = errors.Join(err, <-kept); err != nil {
		return err
	}
	if e.desk.Unsaved() {
		fmt.Fprintf(io.out, "\nNot saved; the work is kept in %s and taken up again by the next edit.\n", e.file.unsavedPath())
		return nil
	}
	return nil
}

// autosave keeps work that is not saved beside the plan, after every change and once more at
// the end.
func (e *editing) autosave(ctx context.Context, io streams) error {
	was := -1
	told := false
	keep := func() error {
		revision, p, t := e.desk.Version()
		if revision == was && e.desk.Unsaved() {
			return nil
		}
		was = revision
		if !e.desk.Unsaved() {
			return e.file.forget()
		}
		return e.file.keep(p, t)
	}
	err := e.desk.Watch(ctx, func(s deskStatus) error {
		if err := keep(); err != nil && !told {
			told = true // once will do
			fmt.Fprintf(io.err, "warning: work cannot be kept until it is saved: %s\n", oneLine(err))
			e.desk.Say("what you do cannot be kept until you save it: " + oneLine(err))
		}
		return nil
	})
	if err != nil && ctx.Err() == nil {
		return err
	}
	return keep()
}

// newServer makes the server for a listener's address, and the address to open.
func newServer(e *editing, at net.Addr) (*server, string, error) {
	var secret [16]byte
	if _, err := rand.Read(secret[:]); err != nil {
		return nil, "", fmt.Errorf("no token could be made: %w", err)
	}
	s := &server{e: e, token: hex.EncodeToString(secret[:]), hosts: map[string]bool{}, origin: map[string]bool{}}
	host, port, err := net.SplitHostPort(at.String())
	if err != nil {
		return nil, "", err
	}
	names := []string{host}
	ip := net.ParseIP(host)
	switch {
	case ip.IsLoopback():
		names = []string{"127.0.0.1", "localhost", "::1", host}
	case ip.IsUnspecified():
		// Every address of this computer.
		names = []string{"127.0.0.1", "localhost", "::1"}
		all, err := net.InterfaceAddrs()
		if err != nil {
			return nil, "", err
		}
		for _, a := range all {
			if n, ok := a.(*net.IPNet); ok {
				names = append(names, n.IP.String())
			}
		}
		host = "127.0.0.1"
	}
	for _, name := range names {
		h := strings.ToLower(net.JoinHostPort(name, port))
		s.hosts[h], s.origin["http://"+h] = true, true
	}
	u := url.URL{Scheme: "http", Host: net.JoinHostPort(host, port), Path: "/", RawQuery: "token=" + s.token}
	return s, u.String(), nil
}

// ServeHTTP lets nothing through that is not the page's.
func (s *server) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	h.Set("Content-Security-Policy", policy)
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "no-referrer") // the token is in the address
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Cache-Control", "no-store")
	// A name that leads here by a trick of DNS is not ours.
	if !s.hosts[strings.ToLower(r.Host)] {
		refuse(w, http.StatusForbidden, errors.New("the address is not one of this session's"))
		return
	}
	if o := r.Header.Get("Origin"); o != "" && !s.origin[strings.ToLower(o)] {
		refuse(w, http.StatusForbidden, errors.New("the request comes from another page"))
		return
	}
	if !strings.HasPrefix(r.URL.Path, "/api/") {
		s.static(w, r)
		return
	}
	if subtle.ConstantTimeCompare([]byte(r.Header.Get(tokenHeader)), []byte(s.token)) != 1 {
		refuse(w, http.StatusUnauthorized, errors.New("the token is missing or wrong: open the address that the program printed"))
		return
	}
	r.Body = http.MaxBytesReader(w, r.Body, mostBody)
	s.api(w, r)
}

// kinds are the files that the page may have.
var kinds = map[string]string{
	".html": "text/html; charset=utf-8", ".js": "text/javascript; charset=utf-8", ".css": "text/css; charset=utf-8",
	".svg": "image/svg+xml", ".png": "image/png", ".woff2": "font/woff2", ".json": "application/json", ".txt": "text/plain; charset=utf-8",
}

// static gives the page's own files, out of those that were built in.
func (s *server) static(w http.ResponseWriter, r *http.Request) {
	if r.Method != http.MethodGet && r.Method != http.MethodHead {
		refuse(w, http.StatusMethodNotAllowed, errors.New("the page's files can only be read"))
		return
	}
	name := strings.TrimPrefix(r.URL.Path, "/")
	if name == "" {
		name = "index.html"
	}
	kind := kinds[path.Ext(name)]
	data, err := fs.ReadFile(s.e.o.page, name) // which refuses paths that lead elsewhere
	if err != nil || kind == "" {
		refuse(w, http.StatusNotFound, errors.New("there is no such file"))
		return
	}
	w.Header().Set("Content-Type", kind)
	send(w, r, data)
}

// refuse answers with an error.
func refuse(w http.ResponseWriter, status int, err error) {
	answer(w, nil, status, map[string]any{"error": oneLine(err)})
}

// answer sends JSON.
func answer(w http.ResponseWriter, r *http.Request, status int, v any) {
	data, err := json.Marshal(v)
	if err != nil {
		http.Error(w, "the answer cannot be written", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	if r == nil || status != http.StatusOK {
		w.WriteHeader(status)
		_, _ = w.Write(data) // who is gone needs no answer
		return
	}
	send(w, r, data)
}

// leastPacked is the size, in bytes, from which packing is worth its time.
const leastPacked = 2048

// send answers with bytes, packed where that is accepted.
func send(w http.ResponseWriter, r *http.Request, data []byte) {
	w.Header().Add("Vary", "Accept-Encoding")
	if len(data) < leastPacked || !strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") || r.Method == http.MethodHead {
		w.Header().Set("Content-Length", fmt.Sprint(len(data)))
		if r.Method != http.MethodHead {
			_, _ = w.Write(data)
		}
		return
	}
	w.Header().Set("Content-Encoding", "gzip")
	z, err := gzip.NewWriterLevel(w, gzip.BestSpeed)
	if err != nil {
		return // the level is a constant
	}
	_, _ = z.Write(data)
	_ = z.Close()
}

// body reads all of a request.
func body(r *http.Request) ([]byte, error) { return io.ReadAll(r.Body) }
