package page_test

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/catalog"
	"elbowroom/cmd/elbowroom/page"
	"elbowroom/estimator"
	"elbowroom/estimator/ask"
)

const address = "127.0.0.1:8080"

// stage is a file on disk with a page that shows it.
type stage struct {
	path    string
	server  *page.Server
	handler http.Handler
	token   string
}

// newStage makes a stage; what its page asks of the command can be changed.
func newStage(t testing.TB, text string, changes ...func(*page.Program)) *stage {
	t.Helper()
	s := &stage{path: filepath.Join(t.TempDir(), "hall.yaml")}
	if err := os.WriteFile(s.path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	lib, err := catalog.Open()
	if err != nil {
		t.Fatal(err)
	}
	program := page.Program{
		Boards: []string{"m7-216-512k", "m4f-100-128k"},
		Read: func() (*source.File, error) {
			text, err := os.ReadFile(s.path)
			return source.NewFile("hall.yaml", text), err
		},
		Estimate: func(file *source.File) (*estimator.Estimate, error) {
			var errs source.Errors
			g := estimator.Read(file, lib, estimator.Options{}, &errs)
			if g == nil {
				return nil, errs.Err()
			}
			return g.Estimate()
		},
		Subject: func(e *estimator.Estimate) page.Subject {
			return page.Subject{File: "hall.yaml", Estimate: e, Sentence: "hall.yaml is " + e.Verdict.String()}
		},
		Plans: func(_ context.Context, e *estimator.Estimate) (*page.Advice, error) {
			n := e.Graph.Nodes[e.Graph.Node("echo")]
			return &page.Advice{Proof: "nothing else was tried", Groups: []page.Group{{Title: "Plans", Plans: []page.Plan{{
				Number: 1, Name: "plan 1", Title: "Plan 1", Then: "it fits",
				Edits:   []source.Edit{{Path: e.Graph.Path(n, "time"), Text: "100 ms"}},
				Changes: []page.Change{{Node: "echo", Write: "time: 100 ms", Heard: "a shorter echo"}},
			}}}}}, nil
		},
		Compare: func(before, after *estimator.Estimate) []page.Table {
			return []page.Table{{Text: before.Verdict.String() + " before, " + after.Verdict.String() + " after"}}
		},
		Charts: func(_ context.Context, _ *estimator.Estimate, node string) ([]page.Chart, error) {
			return []page.Chart{{Title: "Delays", Sentence: "drawn of " + node}}, nil
		},
		Save: func(before, after *source.File) error {
			if now, err := os.ReadFile(s.path); err != nil || string(now) != before.Text() {
				return errors.New("the file was changed")
			}
			return os.WriteFile(s.path, []byte(after.Text()), 0o644)
		},
	}
	for _, change := range changes {
		change(&program)
	}
	s.server = page.NewServer(program)
	s.handler = s.server.Handler(address)
	s.token = tokenIn(t, s.get(t, "/").Body.String())
	return s
}

var tokenInput = regexp.MustCompile(`name="token" value="([A-Z0-9]+)"`)

func tokenIn(t testing.TB, text string) string {
	t.Helper()
	m := tokenInput.FindStringSubmatch(text)
	if m == nil {
		return "" // of a file that never was a graph
	}
	return m[1]
}

func (s *stage) get(t testing.TB, path string) *httptest.ResponseRecorder {
	t.Helper()
	r := httptest.NewRequest(http.MethodGet, "http://"+address+path, nil)
	w := httptest.NewRecorder()
	s.handler.ServeHTTP(w, r)
	return w
}

// post sends a form as the page's own script does.
func (s *stage) post(t testing.TB, path string, fields ...string) *httptest.ResponseRecorder {
	t.Helper()
	form := url.Values{"token": {s.token}}
	for i := 0; i < len(fields); i += 2 {
		form.Set(fields[i], fields[i+1])
	}
	w := httptest.NewRecorder()
	s.handler.ServeHTTP(w, request(path, form.Encode()))
	return w
}

func request(path, body string) *http.Request {
	r := httptest.NewRequest(http.MethodPost, "http://"+address+path, strings.NewReader(body))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Origin", "http://"+address)
	r.Header.Set("HX-Request", "true")
	return r
}

func (s *stage) text(t testing.TB) string {
	t.Helper()
	text, err := os.ReadFile(s.path)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

func wantIn(t *testing.T, after, text string, wants ...string) {
	t.Helper()
	for _, want := range wants {
		if !strings.Contains(text, want) {
			t.Errorf("after %s the page does not show %q", after, want)
		}
	}
}

// versionIn is the version that a difference is shown of.
func versionIn(t *testing.T, text string) string {
	t.Helper()
	m := regexp.MustCompile(`name="version" value="(\d+)"`).FindStringSubmatch(text)
	if m == nil {
		t.Fatal("the difference is shown without the version that it is of")
	}
	return m[1]
}

// TestChangesAreMadeUndoneAndSaved goes the way of a person through the page.
func TestChangesAreMadeUndoneAndSaved(t *testing.T) {
	s := newStage(t, hall)
	before := s.text(t)
	wantIn(t, "turning a time", s.post(t, "/set", "name", "dial.0.echo.time", "value", "350 ms").Body.String(), `value="350 ms"`, "1 change is not saved")
	wantIn(t, "turning it on", s.post(t, "/set", "name", "dial.0.echo.time", "value", "300 ms").Body.String(), `value="300 ms"`, "1 change is not saved")
	wantIn(t, "moving a slider", s.post(t, "/slide", "name", "dial.0.block_size", "value", "200").Body.String(), `value="8192"`, "2 changes are not saved")
	wantIn(t, "undoing", s.post(t, "/undo").Body.String(), "undone: block_size: 8192", "1 change is not saved")
	wantIn(t, "redoing", s.post(t, "/redo").Body.String(), "made again: block_size: 8192")
	s.post(t, "/undo")
	wantIn(t, "choosing", s.post(t, "/set", "name", "choice.wind.colour", "value", "white").Body.String(), `data-now="white"`)
	wantIn(t, "copying code", s.post(t, "/set", "name", "run", "value", "itcm").Body.String(), `data-now="itcm"`, "code in itcm")
	s.post(t, "/undo")
	if s.text(t) != before {
		t.Fatal("the file was written before anything was saved")
	}
	shown := s.post(t, "/difference").Body.String()
	wantIn(t, "asking to save", shown, "What saving writes", "-  echo:", "time: 300 ms")
	wantIn(t, "saving", s.post(t, "/save", "version", versionIn(t, shown)).Body.String(), "saved into hall.yaml")
	want := strings.Replace(strings.Replace(before, "time: 200 ms", "time: 300 ms", 1), "colour: pink", "colour: white", 1)
	if got := s.text(t); got != want {
		t.Errorf("saving writes\n%s\nwant only time and colour changed:\n%s", got, want)
	}
}

// TestSavingWritesWhatWasShown: a difference that was shown for another state is
// not written, and neither is one over a file that was changed meanwhile.
func TestSavingWritesWhatWasShown(t *testing.T) {
	s := newStage(t, hall)
	s.post(t, "/set", "name", "dial.0.echo.time", "value", "350 ms")
	version := versionIn(t, s.post(t, "/difference").Body.String())
	s.post(t, "/set", "name", "dial.0.echo.time", "value", "400 ms")
	wantIn(t, "saving what was not shown", s.post(t, "/save", "version", version).Body.String(), "nothing was done; look again")
	if s.text(t) != hall {
		t.Error("a difference was written that nobody was shown")
	}
}

func TestWhatIsWrongIsToldAndChangesNothing(t *testing.T) {
	s := newStage(t, hall)
	tests := []struct{ path, name, value, want string }{
		{"/set", "dial.0.echo.time", "350 lightyears", "350 lightyears"},
		{"/set", "dial.0.echo.time", "1000000 s", "That cannot be done"},
		{"/set", "dial.0.echo.tiem", "1 s", "there is no such control"},
		{"/set", "choice.wind.colour", "puce", "puce"},
		{"/set", "board", "../../etc/passwd", "there is no such control"},
		{"/set", "board", "/etc/passwd.yaml", "there is no such control"},
		{"/set", "run", "dtcm", "there is no such control"},
		{"/slide", "dial.0.echo.time", "far", "there is no such control"},
		{"/try", "plan", "7", "That cannot be done"},
	}
	for _, tt := range tests {
		text := s.post(t, tt.path, "name", tt.name, "value", tt.value).Body.String()
		wantIn(t, tt.name+" "+tt.value, text, "That cannot be done", tt.want)
		if s.server.Unsaved() != 0 {
			t.Fatalf("after %s %s there is an unsaved change", tt.name, tt.value)
		}
	}
}

func TestPlanIsTriedAndUndone(t *testing.T) {
	s := newStage(t, strings.Replace(strings.Replace(hall, "m7-216-512k", "m4f-100-128k", 1), "200 ms", "1 s", 1))
	wantIn(t, "opening", s.get(t, "/").Body.String(), "hall.yaml is over", "Look for lighter plans")
	s.post(t, "/open", "node", "echo")
	wantIn(t, "looking", s.post(t, "/plans").Body.String(), "a shorter echo", "Try plan 1", "nothing else was tried")
	wantIn(t, "trying", s.post(t, "/try", "plan", "1").Body.String(), "hall.yaml is fits", `value="100 ms"`)
	wantIn(t, "undoing", s.post(t, "/undo").Body.String(), "hall.yaml is over")
}

// TestLateAnswersCome: what is worked out after a change shows without another.
func TestLateAnswersCome(t *testing.T) {
	s := newStage(t, hall)
	text := s.post(t, "/open", "node", "echo").Body.String()
	if strings.Contains(text, `id="edge-dial.0.echo.time"`) {
		t.Error("a change waits for the edges")
	}
	seen := regexp.MustCompile(`name="seen" value="(\d+)"`).FindStringSubmatch(text)[1]
	text = s.get(t, "/now?seen="+seen).Body.String()
	for _, whole := range []string{"sample_rate", "block_size"} {
		wantIn(t, "waiting", text, fmt.Sprintf(`id="edge-dial.0.%s"`, whole))
	}
	// The edge is that of ask.FindLimits.
	e := estimate(t, hall)
	l, err := ask.FindLimits(t.Context(), e, func(d *ask.Dial) bool { return d.Name == "echo.time" })
	if err != nil {
		t.Fatal(err)
	}
	if len(l.Limits) != 1 || l.Limits[0].Stop.Resource == nil {
		t.Fatalf("the echo has the limits %v, want one, at which a memory is full", l.Limits)
	}
	wantIn(t, "waiting", text, "it holds up to "+blocks.UnitTime.Rounded(l.Limits[0].Value), `aria-describedby="edge-dial.0.echo.time"`, `class="edges"`)
	wantIn(t, "asking for charts", s.post(t, "/charts").Body.String(), "They are being drawn")
	wantIn(t, "waiting", s.get(t, "/now?seen=0").Body.String(), "drawn of echo", "Put the charts away")
	wantIn(t, "a change", s.post(t, "/set", "name", "dial.0.echo.time", "value", "350 ms").Body.String(), "They are being drawn", "Before and after", "fits before, fits after")
	if strings.Contains(s.post(t, "/charts").Body.String(), "being drawn") {
		t.Error("charts that were put away are drawn")
	}
}

// TestLateAnswersAreGivenUp: what is worked out beside ends where something else
// is shown by then, and where the server ends.
func TestLateAnswersAreGivenUp(t *testing.T) {
	begun, given := make(chan string), make(chan error, 1)
	endless := func(ctx context.Context, what string) error { // it would take forever
		begun <- what
		<-ctx.Done()
		given <- ctx.Err()
		return ctx.Err()
	}
	s := newStage(t, hall, func(p *page.Program) {
		p.Charts = func(ctx context.Context, _ *estimator.Estimate, _ string) ([]page.Chart, error) {
			return nil, endless(ctx, "charts")
		}
		p.Plans = func(ctx context.Context, _ *estimator.Estimate) (*page.Advice, error) {
			return nil, endless(ctx, "plans")
		}
	})
	wait := func(after string) {
		t.Helper()
		select {
		case err := <-given:
			if !errors.Is(err, context.Canceled) {
				t.Errorf("what is given up after %s ends with %v, want %v", after, err, context.Canceled)
			}
		case <-time.After(time.Minute):
			t.Fatalf("after %s it is still being worked out", after)
		}
	}
	begins := func(want string, ask func()) (answered chan struct{}) {
		t.Helper()
		answered = make(chan struct{})
		go func() { ask(); close(answered) }()
		select {
		case what := <-begun:
			if what != want {
				t.Fatalf("%s begin, want %s", what, want)
			}
		case <-time.After(time.Minute):
			t.Fatalf("%s are never begun", want)
		}
		return answered
	}
	plans := func() { s.post(t, "/plans") }
	now := func() { s.get(t, "/now?seen=0") }
	s.post(t, "/set", "name", "dial.0.echo.time", "value", "300 ms")
	for _, change := range [][]string{{"/set", "name", "dial.0.echo.time", "value", "350 ms"}, {"/undo"}, {"/redo"}, {"/drop"}} {
		answered := begins("plans", plans)
		s.post(t, change[0], change[1:]...)
		wait(change[0])
		<-answered
		if text := s.get(t, "/").Body.String(); strings.Contains(text, "That cannot be done") {
			t.Errorf("after %s a search that was given up is told as an error", change[0])
		}
	}
	answered := begins("plans", plans)
	s.post(t, "/open", "node", "wind")
	s.post(t, "/search", "search", "gain")
	select {
	case <-given:
		t.Error("plans are given up where a node is opened, which changes nothing")
	case <-time.After(50 * time.Millisecond):
	}
	s.post(t, "/set", "name", "dial.0.echo.time", "value", "300 ms")
	wait("a change")
	<-answered
	s.post(t, "/charts")
	for _, change := range [][]string{{"/set", "name", "dial.0.echo.time", "value", "350 ms"}, {"/open", "node", "echo"}, {"/charts"}} {
		answered := begins("charts", now)
		if text := s.post(t, change[0], change[1:]...).Body.String(); strings.Contains(text, "cannot be drawn") {
			t.Errorf("after %s what was given up is told as an error", change[0])
		}
		wait(change[0])
		<-answered
	}
	s.post(t, "/charts")
	l, err := net.Listen("tcp4", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, end := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- s.server.Serve(ctx, l) }()
	begins("charts", func() {
		if answer, err := http.Get("http://" + l.Addr().String() + "/now?seen=0"); err == nil {
			answer.Body.Close()
		}
	})
	end()
	wait("the end of the server")
	if err := <-ended; err != nil {
		t.Errorf("the server ends with %v", err)
	}
}

func TestFileChangesShow(t *testing.T) {
	s := newStage(t, hall)
	write := func(text string) {
		t.Helper()
		if err := os.WriteFile(s.path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	s.post(t, "/open", "node", "echo")
	seen := regexp.MustCompile(`name="seen" value="(\d+)"`).FindStringSubmatch(s.get(t, "/").Body.String())[1]
	if code := s.get(t, "/now?seen="+seen).Code; code != http.StatusNoContent {
		t.Errorf("where nothing changed the page is answered with %d, want 204", code)
	}
	write(strings.Replace(hall, "200 ms", "250 ms", 1))
	wantIn(t, "a change on disk", s.get(t, "/now?seen="+seen).Body.String(), `value="250 ms"`)
	write(strings.Replace(hall, "time:", "tiem:", 1))
	wantIn(t, "breaking the file", s.get(t, "/now?seen="+seen).Body.String(), "cannot be read as a graph", "hall.yaml:9:", "^", "did you mean &#39;time&#39;?")
	s.post(t, "/set", "name", "dial.0.echo.time", "value", "350 ms")
	if s.server.Unsaved() != 0 {
		t.Error("a change was made over a file that is broken")
	}
	write(hall)
	text := s.get(t, "/now?seen="+seen).Body.String()
	if strings.Contains(text, "cannot be read as a graph") || !strings.Contains(text, `value="200 ms"`) {
		t.Error("after the file was mended the page does not show it")
	}
	s.post(t, "/set", "name", "dial.0.echo.time", "value", "350 ms")
	write(strings.Replace(hall, "pink", "white", 1))
	wantIn(t, "a change on disk beside an unsaved one", s.get(t, "/now?seen="+seen).Body.String(), `value="350 ms"`, "1 change is not saved")
}

// TestAmountsStayTogether: no line ends within a number or before its unit.
func TestAmountsStayTogether(t *testing.T) {
	s := newStage(t, hall, func(p *page.Program) {
		p.Subject = func(e *estimator.Estimate) page.Subject {
			return page.Subject{File: "hall.yaml", Estimate: e, Sentence: "4 of 12 nodes take 1 100 000 cycles, 49.7 % of 96 KiB and 2 ms since 1997 Bach"}
		}
	})
	want := strings.NewReplacer("1 100 000 cycles", "1\u00a0100\u00a0000\u00a0cycles", "49.7 %", "49.7\u00a0%", "96 KiB", "96\u00a0KiB", "2 ms", "2\u00a0ms").
		Replace("4 of 12 nodes take 1 100 000 cycles, 49.7 % of 96 KiB and 2 ms since 1997 Bach")
	wantIn(t, "opening", s.get(t, "/").Body.String(), want)
}

func TestBrokenFromTheStart(t *testing.T) {
	s := newStage(t, "board: [")
	wantIn(t, "opening a broken file", s.get(t, "/").Body.String(), "cannot be read as a graph", "hall.yaml:1:")
	if err := os.WriteFile(s.path, []byte(hall), 0o644); err != nil {
		t.Fatal(err)
	}
	wantIn(t, "mending it", s.get(t, "/now?seen=0").Body.String(), "hall.yaml is fits")
}

// TestForeignRequestsAreRefused: what a page of another site, a name that was
// made to point here, or a guess could send.
func TestForeignRequestsAreRefused(t *testing.T) {
	s := newStage(t, hall)
	good := url.Values{"token": {s.token}, "name": {"dial.0.echo.time"}, "value": {"350 ms"}}.Encode()
	tests := []struct {
		name   string
		change func(r *http.Request)
		body   string
		want   int
	}{
		{"a name that points here", func(r *http.Request) { r.Host = "theatre.example:8080" }, good, http.StatusForbidden},
		{"another port", func(r *http.Request) { r.Host = "127.0.0.1:8081" }, good, http.StatusForbidden},
		{"another site", func(r *http.Request) { r.Header.Set("Origin", "https://theatre.example") }, good, http.StatusForbidden},
		{"a page of no origin", func(r *http.Request) { r.Header.Set("Origin", "null") }, good, http.StatusForbidden},
		{"no origin", func(r *http.Request) { r.Header.Del("Origin") }, good, http.StatusForbidden},
		{"a cross-site fetch", func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "cross-site") }, good, http.StatusForbidden},
		{"no token", nil, "name=dial.0.echo.time&value=350+ms", http.StatusForbidden},
		{"a wrong token", nil, "token=AAAA&name=dial.0.echo.time&value=350+ms", http.StatusForbidden},
		{"a token in the address", func(r *http.Request) { r.URL.RawQuery = "token=" + s.token }, "name=dial.0.echo.time&value=350+ms", http.StatusForbidden},
		{"a large body", nil, good + "&more=" + strings.Repeat("x", 100<<10), http.StatusBadRequest},
		{"the page itself", nil, good, http.StatusOK},
	}
	for _, tt := range tests {
		r := request("/set", tt.body)
		if tt.change != nil {
			tt.change(r)
		}
		w := httptest.NewRecorder()
		s.handler.ServeHTTP(w, r)
		if w.Code != tt.want {
			t.Errorf("%s is answered with %d, want %d: %.80s", tt.name, w.Code, tt.want, w.Body.String())
		}
		if changed := s.server.Unsaved() > 0; changed != (tt.want == http.StatusOK) {
			t.Errorf("after %s: changed is %v", tt.name, changed)
		}
	}
	for _, path := range []string{"/../hall.yaml", "/static/../serve.go", "/%2e%2e/hall.yaml", "/hall.yaml", "/style.css/..%2f..%2fpage.go", "//etc/passwd", "/set"} {
		if w := s.get(t, path); w.Code == http.StatusOK {
			t.Errorf("GET %s is answered with a file", path)
		}
	}
	if w := s.get(t, "/"); !strings.Contains(w.Header().Get("Content-Security-Policy"), "default-src 'none'") || strings.Contains(w.Body.String(), " style=") {
		t.Error("the page has no strict policy, or a style that its policy forbids")
	}
}

// TestServesManyAndEnds opens the real server to a hundred megabytes, to clients
// that never finish and to many at once; then it must still answer, and end.
func TestServesManyAndEnds(t *testing.T) {
	s := newStage(t, hall)
	l, err := net.Listen("tcp4", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	ended := make(chan error, 1)
	go func() { ended <- s.server.Serve(ctx, l) }()
	at := "http://" + l.Addr().String()
	for range 20 { // slow clients: half a header, and half a body
		for _, half := range []string{"GET / HTTP/1.1\r\nHost: ", "POST /set HTTP/1.1\r\nHost: " + l.Addr().String() + "\r\nOrigin: " + at + "\r\nContent-Type: application/x-www-form-urlencoded\r\nContent-Length: 1000\r\n\r\ntok"} {
			c, err := net.Dial("tcp4", l.Addr().String())
			if err != nil {
				t.Fatal(err)
			}
			defer c.Close()
			if _, err := io.WriteString(c, half); err != nil {
				t.Fatal(err)
			}
		}
	}
	r, err := http.NewRequest(http.MethodPost, at+"/set", io.LimitReader(bufio.NewReader(endless{}), 100<<20))
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Origin", at)
	if answer, err := http.DefaultClient.Do(r); err == nil {
		answer.Body.Close()
		if answer.StatusCode != http.StatusBadRequest {
			t.Errorf("a body of 100 MiB is answered with %d, want 400", answer.StatusCode)
		}
	}
	var all sync.WaitGroup
	failures := make(chan error, 200)
	most := heap()
	until := time.Now()
	if os.Getenv("ELBOWROOM_TOOLS") == "required" {
		until = until.Add(10 * time.Second)
	}
	client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: 200}}
	for i := range 200 {
		all.Go(func() {
			for again := true; again; again = time.Now().Before(until) {
				if err := turn(client, at, s.token, 100+i); err != nil {
					failures <- err
					return
				}
			}
		})
	}
	finished := make(chan struct{})
	go func() { all.Wait(); close(finished) }()
	for running := true; running; most = max(most, heap()) {
		select {
		case <-finished:
			running = false
		case <-time.After(100 * time.Millisecond):
		}
	}
	close(failures)
	for err := range failures {
		t.Errorf("a client beside slow ones is not served: %v", err)
	}
	const bound = 256 << 20
	if most > bound {
		t.Errorf("200 clients take %d MiB at once, want at most %d MiB", most>>20, bound>>20)
	}
	if n := s.server.Unsaved(); n != 1 {
		t.Errorf("after turns of one dial alone there are %d changes, want 1", n)
	}
	client.CloseIdleConnections()
	http.DefaultClient.CloseIdleConnections()
	cancel()
	select {
	case err := <-ended:
		if err != nil {
			t.Errorf("the server ends with %v", err)
		}
	case <-time.After(30 * time.Second):
		t.Error("the server does not end")
	}
}

// turn turns the dial of a time as the page's own script does.
func turn(client *http.Client, at, token string, milliseconds int) error {
	form := url.Values{"token": {token}, "name": {"dial.0.echo.time"}, "value": {fmt.Sprintf("%d ms", milliseconds)}}
	r, err := http.NewRequest(http.MethodPost, at+"/set", strings.NewReader(form.Encode()))
	if err != nil {
		return err
	}
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Origin", at)
	r.Header.Set("HX-Request", "true")
	answer, err := client.Do(r)
	if err != nil {
		return err
	}
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	if err != nil || answer.StatusCode != http.StatusOK || !strings.Contains(string(text), `id="desk"`) {
		return fmt.Errorf("%d, %v", answer.StatusCode, err)
	}
	return nil
}

// heap is the memory, in bytes, that this process holds for what it works on.
func heap() uint64 {
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapInuse
}

type endless struct{}

func (endless) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = 'x'
	}
	return len(p), nil
}

// sixty is a graph of 60 nodes in a row.
func sixty() string {
	var text strings.Builder
	text.WriteString("board: m7-480-sdram\nsample_rate: 48 kHz\nblock_size: 48\nnodes:\n  n0: {block: noise}\n")
	for i := 1; i < 59; i++ {
		kind := []string{"biquad", "delay, time: 20 ms", "gain"}[i%3]
		fmt.Fprintf(&text, "  n%d: {block: %s, from: n%d}\n", i, kind, i-1)
	}
	text.WriteString("  out: {block: audio-out, from: n58}\n")
	return text.String()
}

// TestPageIsLight adds up all that a browser fetches of 60 nodes, one of them
// open: nothing is compressed on the way.
func TestPageIsLight(t *testing.T) {
	s := newStage(t, sixty())
	s.post(t, "/open", "node", "n1")
	sum := 0
	for _, path := range []string{"/", "/style.css", "/light.js", "/desk.js", "/htmx.min.js"} {
		w := s.get(t, path)
		if w.Code != http.StatusOK {
			t.Fatalf("GET %s is answered with %d", path, w.Code)
		}
		sum += w.Body.Len()
	}
	if sum >= 300_000 {
		t.Errorf("the page of 60 nodes weighs %d bytes, want below 300 000", sum)
	}
}

// BenchmarkChange is one turn of a dial of 60 nodes, answered whole.
func BenchmarkChange(b *testing.B) {
	s := newStage(b, sixty())
	i := 0
	for b.Loop() {
		i++
		w := s.post(b, "/set", "name", "dial.0.n1.time", "value", fmt.Sprintf("%d ms", 10+i%50))
		if w.Code != http.StatusOK {
			b.Fatalf("a change is answered with %d", w.Code)
		}
		b.ReportMetric(float64(w.Body.Len()), "bytes/answer")
	}
}
