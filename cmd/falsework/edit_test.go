package main

import (
	"archive/zip"
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"falsework/supports/plan"

	"github.com/spf13/pflag"
)

// testPage stands in for the built page.
var testPage = fstest.MapFS{
	"index.html": {Data: []byte("<!doctype html><title>Falsework</title>")},
	"page.js":    {Data: []byte("export {};")},
}

// editEnv names the part and the plan that this program, started by a test, is to edit.
const editEnv = "FALSEWORK_TEST_EDIT"

func TestMain(m *testing.M) {
	if args := os.Getenv(editEnv); args != "" {
		part, planPath, _ := strings.Cut(args, "\n")
		err := runEdit(context.Background(), streams{out: os.Stdout, err: os.Stderr}, editFor(part, planPath))
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	os.Exit(m.Run())
}

func editFor(part, planPath string, options ...string) *editOptions {
	o := &editOptions{part: part, plan: planPath, listen: "127.0.0.1", noBrowser: true, page: testPage, delay: time.Minute,
		open: func(string) error { return nil }}
	set := pflag.NewFlagSet("edit", pflag.ContinueOnError)
	o.printer.addTo(set)
	if err := set.Parse(options); err != nil {
		panic(err) // a mistake of the test
	}
	return o
}

// session is an edit at work.
type session struct {
	t           *testing.T
	base, token string
	end         func() (error, string)
}

// address reads where a session is from what it prints.
func address(t *testing.T, out *bufio.Reader) (base, token string) {
	t.Helper()
	for {
		line, err := out.ReadString('\n')
		if at := strings.TrimSpace(line); strings.HasPrefix(at, "http://") {
			base, token, _ = strings.Cut(at, "/?token=")
			return base, token
		}
		if err != nil {
			t.Fatalf("no address was printed: %v", err)
		}
	}
}

func startEdit(t *testing.T, o *editOptions) *session {
	t.Helper()
	ctx, stop := context.WithCancel(context.Background())
	r, w := io.Pipe()
	var stderr bytes.Buffer
	done := make(chan error, 1)
	go func() {
		err := runEdit(ctx, streams{out: w, err: &stderr}, o)
		_ = w.CloseWithError(err)
		done <- err
	}()
	out := bufio.NewReader(r)
	s := &session{t: t}
	s.base, s.token = address(t, out)
	rest := make(chan string, 1)
	go func() {
		data, _ := io.ReadAll(out)
		rest <- string(data)
	}()
	ended := false
	s.end = func() (error, string) {
		if ended {
			return nil, ""
		}
		ended = true
		stop()
		return <-done, <-rest
	}
	t.Cleanup(func() { s.end() })
	return s
}

// do sends a request with the token, changed by alter.
func (s *session) do(method, path, body string, alter func(r *http.Request)) (*http.Response, []byte) {
	s.t.Helper()
	r, err := http.NewRequest(method, s.base+path, strings.NewReader(body))
	if err != nil {
		s.t.Fatal(err)
	}
	r.Header.Set(tokenHeader, s.token)
	if alter != nil {
		alter(r)
	}
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		s.t.Fatal(err)
	}
	defer answer.Body.Close()
	data, err := io.ReadAll(answer.Body)
	if err != nil {
		s.t.Fatal(err)
	}
	return answer, data
}

type editState struct {
	Revision int  `json:"revision"`
	Saved    int  `json:"saved_revision"`
	CanUndo  bool `json:"can_undo"`
	Plan     struct {
		Lines []struct {
			ID string `json:"id"`
		} `json:"lines"`
		Posts []struct {
			ID string     `json:"id"`
			At [2]float64 `json:"at"`
		} `json:"posts"`
	} `json:"plan"`
	Ready struct{ Need, Proof bool }
	Proof struct {
		Verdict string `json:"verdict"`
	} `json:"proof"`
	Message string `json:"message"`
}

func (s *session) state(until func(editState) bool) editState {
	s.t.Helper()
	for range 600 {
		var st editState
		_, data := s.do("GET", "/api/state", "", nil)
		if err := json.Unmarshal(data, &st); err != nil {
			s.t.Fatalf("%v in %.200s", err, data)
		}
		if until == nil || until(st) {
			return st
		}
		time.Sleep(100 * time.Millisecond)
	}
	s.t.Fatal("the state that was waited for did not come within a minute")
	return editState{}
}

// post sends what must succeed.
func (s *session) post(path, body string) []byte {
	s.t.Helper()
	r, data := s.do("POST", path, body, nil)
	if r.StatusCode/100 != 2 {
		s.t.Fatalf("%s %s: %d %s", path, body, r.StatusCode, data)
	}
	return data
}

// workplace is a folder with a part of its own.
func workplace(t *testing.T, part string) (partPath, planPath string) {
	t.Helper()
	dir := t.TempDir()
	data, err := os.ReadFile(partFile(part))
	if err != nil {
		t.Fatal(err)
	}
	partPath = filepath.Join(dir, part+".stl")
	if err := os.WriteFile(partPath, data, 0o600); err != nil {
		t.Fatal(err)
	}
	return partPath, filepath.Join(dir, part+".plan.yaml")
}

func proved(s editState) bool { return s.Ready.Proof }

// Nothing gets in without the token, from another page, or under another name, and nothing
// but the page's own files gets out.
func TestEditIsGuarded(t *testing.T) {
	part, planPath := workplace(t, "nut-pocket-plate")
	s := startEdit(t, editFor(part, planPath))
	host := func(name string) func(r *http.Request) { return func(r *http.Request) { r.Host = name } }
	header := func(name, value string) func(r *http.Request) {
		return func(r *http.Request) { r.Header.Set(name, value) }
	}
	port := s.base[strings.LastIndex(s.base, ":"):]
	for _, c := range []struct {
		name, method, path, body string
		alter                    func(r *http.Request)
		status                   int
	}{
		{"all in order", "GET", "/api/part", "", nil, 200},
		{"by another name of this computer", "GET", "/api/part", "", host("localhost" + port), 200},
		{"from its own page", "GET", "/api/part", "", header("Origin", s.base), 200},
		{"no token", "GET", "/api/state", "", header(tokenHeader, ""), 401},
		{"a wrong token", "GET", "/api/state", "", header(tokenHeader, strings.Repeat("0", 32)), 401},
		{"the token in the address alone", "GET", "/api/state?token=" + s.token, "", header(tokenHeader, ""), 401},
		{"another host", "GET", "/api/state", "", host("example.org"), 403},
		{"another host that leads here", "GET", "/", "", host("example.org" + port), 403},
		{"another port", "GET", "/api/state", "", host("127.0.0.1:1"), 403},
		{"another page", "POST", "/api/save", `{"base": 1}`, header("Origin", "http://example.org"), 403},
		{"a page without a name", "POST", "/api/save", `{"base": 1}`, header("Origin", "null"), 403},
		{"a secure page by our name", "POST", "/api/save", `{"base": 1}`, header("Origin", "https"+strings.TrimPrefix(s.base, "http")), 403},
		{"too much", "POST", "/api/edit", `{"base": 1, "edits": [` + strings.Repeat(" ", mostBody) + `]}`, nil, 413},
		{"no JSON", "POST", "/api/edit", `base`, nil, 400},
		{"no such way", "POST", "/api/part", `{}`, nil, 404},
		{"a file of the system", "GET", "/../../../../etc/passwd", "", nil, 404},
		{"the part", "GET", "/" + filepath.Base(part), "", nil, 404},
		{"a path in a query", "GET", "/api/layer?z=/etc/passwd", "", nil, 400},
		{"the placeholder", "GET", "/.placeholder", "", nil, 404},
		{"a script", "GET", "/page.js", "", header(tokenHeader, ""), 200},
		{"writing to the page", "POST", "/page.js", "x", nil, 405},
	} {
		r, data := s.do(c.method, c.path, c.body, c.alter)
		if r.StatusCode != c.status {
			t.Errorf("%s: %d %s, want %d", c.name, r.StatusCode, data, c.status)
		}
		csp := r.Header.Get("Content-Security-Policy")
		if !strings.Contains(csp, "default-src 'none'") || !strings.Contains(csp, "script-src 'self';") || strings.Contains(csp, "unsafe") ||
			r.Header.Get("X-Content-Type-Options") != "nosniff" || r.Header.Get("Access-Control-Allow-Origin") != "" {
			t.Errorf("%s: headers %v", c.name, r.Header)
		}
	}
	if _, err := os.Stat(planPath); err == nil {
		t.Error("something was saved")
	}
}

func TestEditRefusesOptions(t *testing.T) {
	part := partFile("nut-pocket-plate")
	for _, c := range []struct {
		args []string
		says string
	}{
		{[]string{"edit"}, "one part"},
		{[]string{"edit", part, "--port", "70000"}, "outside 0 to 65535"},
		{[]string{"edit", part, "--listen", "everywhere"}, "no address"},
		{[]string{"edit", part, "--plan", ""}, "--plan is empty"},
		{[]string{"edit", part, "--pose", "up"}, "no turn"},
		{[]string{"edit", part, "--layer", "-1"}, "not a size"},
	} {
		code, _, stderr := call(c.args...)
		if code != exitRefused || !strings.Contains(stderr, c.says) {
			t.Errorf("%q: exit %d: %s", c.args, code, stderr)
		}
	}
	code, help, _ := call("edit", "--help")
	for _, word := range []string{"--plan", "--port", "--listen", "--no-browser", "token", "Ctrl-C", ".unsaved", "bake"} {
		if code != exitHolds || !strings.Contains(help, word) {
			t.Errorf("the help does not speak of %s", word)
		}
	}
	if err := runEdit(t.Context(), streams{}, &editOptions{page: fstest.MapFS{}}); err == nil || !strings.Contains(err.Error(), "make page") {
		t.Errorf("without a page: %v", err)
	}
}

// Whoever edits what was changed elsewhere is told, and given what is there now.
func TestEditInTwoTabs(t *testing.T) {
	part, planPath := workplace(t, "nut-pocket-plate")
	s := startEdit(t, editFor(part, planPath))
	s.post("/api/edit", `{"base": 1, "edits": [{"op": "add-post", "at": [-20, 0]}]}`)
	r, data := s.do("POST", "/api/edit", `{"base": 1, "edits": [{"op": "add-post", "at": [-30, 0]}]}`, nil)
	var told struct {
		Error string    `json:"error"`
		State editState `json:"state"`
	}
	if err := json.Unmarshal(data, &told); err != nil {
		t.Fatal(err)
	}
	if r.StatusCode != http.StatusConflict || told.State.Revision != 2 || len(told.State.Plan.Posts) != 1 || told.Error == "" {
		t.Errorf("the second tab: %d %s", r.StatusCode, data)
	}
	r, data = s.do("POST", "/api/edit", `{"base": 2, "edits": [{"op": "delete", "id": "L9"}]}`, nil)
	if r.StatusCode != http.StatusUnprocessableEntity || !bytes.Contains(data, []byte(`"id":"L9"`)) {
		t.Errorf("deleting what is not there: %d %s", r.StatusCode, data)
	}
	r, data = s.do("POST", "/api/edit", `{"base": 2, "edits": [{"op": "add-steps", "at": [0, 0, 5]}]}`, nil)
	if r.StatusCode/100 == 5 {
		t.Errorf("steps: %d %s", r.StatusCode, data)
	}
}

// Saving keeps comments and writes the plan alone; the command line then bakes the very
// bytes that the page was given.
func TestEditSavesAndBakes(t *testing.T) {
	part, planPath := workplace(t, "nut-pocket-plate")
	if code, _ := layoutJSON(t, part, "--plan", planPath); code != exitHolds {
		t.Fatalf("exit %d", code)
	}
	edited(t, planPath, "\nposts:", "\n# mine: keep this\nposts:")
	s := startEdit(t, editFor(part, planPath))
	st := s.state(proved)
	q := st.Plan.Posts[0]
	s.post("/api/edit", fmt.Sprintf(`{"base": 1, "edits": [{"op": "set", "id": %q, "by": "designer"}]}`, q.ID))
	st = s.state(proved)
	packed := s.post("/api/bake", fmt.Sprintf(`{"base": %d}`, st.Revision))
	s.post("/api/save", fmt.Sprintf(`{"base": %d}`, st.Revision))
	if now := s.state(nil); now.Saved != now.Revision {
		t.Errorf("saved, but revision %d is unsaved", now.Revision)
	}
	text := read(t, planPath)
	if !strings.Contains(text, "# mine: keep this") {
		t.Error("a comment was lost")
	}
	p, err := plan.Decode(planPath, []byte(text))
	if err != nil || p.Posts[0].By != plan.Designer {
		t.Fatalf("%v; the post is %+v", err, p.Posts[0])
	}
	if err, rest := s.end(); err != nil || strings.Contains(rest, "Not saved") {
		t.Errorf("ended with %v, %q", err, rest)
	}
	var names []string
	files, _ := os.ReadDir(filepath.Dir(part))
	for _, f := range files {
		names = append(names, f.Name())
	}
	if len(names) != 2 {
		t.Errorf("besides part and plan there is something: %q", names)
	}
	out := filepath.Join(t.TempDir(), "out")
	code, _, stderr := call("bake", part, "--plan", planPath, "--out", out)
	if holds := st.Proof.Verdict == "holds"; holds != (code == exitHolds) {
		t.Errorf("the page said %s, bake ends with %d: %s", st.Proof.Verdict, code, stderr)
	}
	want := folder(t, out)
	z, err := zip.NewReader(bytes.NewReader(packed), int64(len(packed)))
	if err != nil {
		t.Fatal(err)
	}
	if len(z.File) != len(want) {
		t.Errorf("%d files from the page, %d from bake", len(z.File), len(want))
	}
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		data, err := io.ReadAll(r)
		if err != nil || !bytes.Equal(data, want[f.Name]) {
			t.Errorf("%s differs from what bake writes (%v)", f.Name, err)
		}
	}
}

// A plan that someone else changed meanwhile is not written over.
func TestEditSparesAChangedFile(t *testing.T) {
	part, planPath := workplace(t, "nut-pocket-plate")
	if code, _ := layoutJSON(t, part, "--plan", planPath); code != exitHolds {
		t.Fatalf("exit %d", code)
	}
	s := startEdit(t, editFor(part, planPath))
	s.post("/api/edit", `{"base": 1, "edits": [{"op": "add-post", "at": [-20, 0]}]}`)
	edited(t, planPath, "\nposts:", "\n# theirs\nposts:")
	theirs := read(t, planPath)
	r, data := s.do("POST", "/api/save", `{"base": 2}`, nil)
	if r.StatusCode != http.StatusConflict || !bytes.Contains(data, []byte("changed by someone else")) {
		t.Errorf("saving: %d %s", r.StatusCode, data)
	}
	if read(t, planPath) != theirs {
		t.Error("their change was lost")
	}
}

// What was not saved when the program was killed is there again, as a step that can be
// undone, and gone once it is saved.
func TestEditSurvivesKill(t *testing.T) {
	part, planPath := workplace(t, "nut-pocket-plate")
	unsavedPath := filepath.Join(filepath.Dir(planPath), "."+filepath.Base(planPath)+".unsaved")
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), editEnv+"="+part+"\n"+planPath)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	s := &session{t: t}
	s.base, s.token = address(t, bufio.NewReader(out))
	s.post("/api/edit", `{"base": 1, "edits": [{"op": "add-post", "at": [-20, 1.5]}]}`)
	for range 100 {
		if data, err := os.ReadFile(unsavedPath); err == nil && bytes.Contains(data, []byte("-20")) {
			break
		}
		time.Sleep(100 * time.Millisecond)
	}
	if err := cmd.Process.Kill(); err != nil { // SIGKILL: it cannot tidy up
		t.Fatal(err)
	}
	_ = cmd.Wait() // killed, as it says
	if _, err := os.Stat(planPath); err == nil {
		t.Fatal("a plan was written without being saved")
	}

	again := startEdit(t, editFor(part, planPath))
	st := again.state(nil)
	if len(st.Plan.Posts) != 1 || st.Plan.Posts[0].At != [2]float64{-20, 1.5} || !st.CanUndo || !strings.Contains(st.Message, "not saved") {
		t.Fatalf("taken up again: %+v", st)
	}
	again.post("/api/save", fmt.Sprintf(`{"base": %d}`, st.Revision))
	if !strings.Contains(read(t, planPath), "-20") {
		t.Error("what was recovered was not saved")
	}
	if err, _ := again.end(); err != nil {
		t.Error(err)
	}
	if _, err := os.Stat(unsavedPath); err == nil {
		t.Error("what was saved is still kept as unsaved")
	}
}

// An interrupt ends the session with its work kept, undone work leaves nothing behind.
func TestEditEndsCleanly(t *testing.T) {
	part, planPath := workplace(t, "nut-pocket-plate")
	unsavedPath := filepath.Join(filepath.Dir(planPath), "."+filepath.Base(planPath)+".unsaved")
	s := startEdit(t, editFor(part, planPath))
	s.post("/api/edit", `{"base": 1, "edits": [{"op": "add-post", "at": [-20, 0]}]}`)
	// A stream of events does not hold it up.
	r, err := http.NewRequest("GET", s.base+"/api/events", nil)
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set(tokenHeader, s.token)
	events, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer events.Body.Close()
	lines := bufio.NewReader(events.Body)
	if line, err := lines.ReadString('\n'); err != nil || line != "event: state\n" {
		t.Errorf("the stream begins with %q, %v", line, err)
	}
	if err, rest := s.end(); err != nil || !strings.Contains(rest, "Not saved") {
		t.Errorf("ended with %v, %q", err, rest)
	}
	rest, err := io.ReadAll(lines)
	if err != nil || !bytes.Contains(rest, []byte("event: closed\n")) {
		t.Errorf("the stream ends with %q, %v", rest, err)
	}
	if !strings.Contains(read(t, unsavedPath), "-20") {
		t.Error("the work was not kept")
	}
	s = startEdit(t, editFor(part, planPath))
	st := s.state(nil)
	s.post("/api/undo", fmt.Sprintf(`{"base": %d}`, st.Revision))
	if err, rest := s.end(); err != nil || strings.Contains(rest, "Not saved") {
		t.Errorf("ended with %v, %q", err, rest)
	}
	if _, err := os.Stat(unsavedPath); err == nil {
		t.Error("work that was undone is still kept")
	}
}

// What is kept but cannot be read is someone's work: it is left alone.
func TestEditLeavesWhatItCannotRead(t *testing.T) {
	part, planPath := workplace(t, "nut-pocket-plate")
	unsavedPath := filepath.Join(filepath.Dir(planPath), "."+filepath.Base(planPath)+".unsaved")
	for _, text := range []string{"something", fmt.Sprintf(unsavedHead, "0,0,0", sum(nil)) + "falsework: 2\nlines: 3\n"} {
		if err := os.WriteFile(unsavedPath, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		err := runEdit(t.Context(), streams{out: io.Discard, err: io.Discard}, editFor(part, planPath))
		if err == nil || !strings.Contains(err.Error(), "away") {
			t.Errorf("with %q beside the plan: %v", text, err)
		}
		if read(t, unsavedPath) != text {
			t.Error("it was changed")
		}
	}
}
