package page

import (
	"bytes"
	"context"
	"crypto/rand"
	"crypto/subtle"
	"embed"
	"errors"
	"net"
	"net/http"
	"strconv"
	"sync"
	"time"
)

// What a request may take. The page talks to one person, and to nobody else.
const (
	mostBody    = 64 << 10
	mostHeader  = 16 << 10
	mostAtOnce  = 8 // requests that are worked on; others wait
	toHeader    = 5 * time.Second
	toRead      = 10 * time.Second
	toWrite     = time.Minute
	toIdle      = time.Minute
	toPlan      = 30 * time.Second
	toEnd       = 3 * time.Second
	contentRule = "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)

//go:embed static/style.css static/light.js static/desk.js static/htmx.min.js static/htmx.LICENSE
var staticFiles embed.FS

// Server shows one graph file to one person at this machine.
type Server struct {
	desk   desk
	token  string // every change must carry it
	hosts  []string
	atOnce chan struct{}

	planning sync.Mutex
	asking   sync.Mutex
}

// NewServer reads the file, which may be wrong: then that is what is shown until
// it is mended.
func NewServer(p Program) *Server {
	s := &Server{desk: desk{program: p}, token: rand.Text(), atOnce: make(chan struct{}, mostAtOnce)}
	s.desk.refresh()
	return s
}

// Unsaved is how many changes would be lost.
func (s *Server) Unsaved() int {
	s.desk.mu.Lock()
	defer s.desk.mu.Unlock()
	return s.desk.unsaved()
}

// Serve answers on a listener of the loopback address until the context ends,
// and then lets what is being answered come to its end; what is looked for beside
// that, and for plans, is given up.
func (s *Server) Serve(ctx context.Context, l net.Listener) error {
	server := &http.Server{
		Handler: s.Handler(l.Addr().String()), MaxHeaderBytes: mostHeader,
		ReadHeaderTimeout: toHeader, ReadTimeout: toRead, WriteTimeout: toWrite, IdleTimeout: toIdle,
		BaseContext: func(net.Listener) context.Context { return ctx },
	}
	failed := make(chan error, 1)
	go func() { failed <- server.Serve(l) }()
	select {
	case err := <-failed:
		return err
	case <-ctx.Done():
	}
	last, cancel := context.WithTimeout(context.WithoutCancel(ctx), toEnd)
	defer cancel()
	if server.Shutdown(last) != nil {
		return server.Close()
	}
	return nil
}

// Handler answers for a server at an address, and refuses what does not come
// from its own page: another Host (a name that was made to point here), another
// Origin, a change without the token.
func (s *Server) Handler(address string) http.Handler {
	_, port, _ := net.SplitHostPort(address)
	s.hosts = []string{"127.0.0.1:" + port, "localhost:" + port, "[::1]:" + port}
	mux := http.NewServeMux()
	mux.HandleFunc("GET /{$}", s.whole)
	mux.HandleFunc("GET /now", s.now)
	mux.HandleFunc("GET /sources", s.sources)
	for _, name := range []string{"style.css", "light.js", "desk.js", "htmx.min.js", "htmx.LICENSE"} {
		mux.HandleFunc("GET /"+name, func(w http.ResponseWriter, r *http.Request) {
			http.ServeFileFS(w, r, staticFiles, "static/"+name)
		})
	}
	changes := map[string]func(*http.Request){
		"set":        func(r *http.Request) { s.desk.set(r.PostForm.Get("name"), r.PostForm.Get("value"), false) },
		"slide":      func(r *http.Request) { s.desk.set(r.PostForm.Get("name"), r.PostForm.Get("value"), true) },
		"undo":       func(*http.Request) { s.desk.move(-1) },
		"redo":       func(*http.Request) { s.desk.move(1) },
		"difference": func(*http.Request) { s.desk.preview() },
		"save":       func(r *http.Request) { s.desk.save(number(r, "version")) },
		"drop":       func(*http.Request) { s.desk.drop() },
		"open":       func(r *http.Request) { s.desk.toggle(r.PostForm.Get("node")) },
		"search":     func(r *http.Request) { s.desk.search(r.PostForm.Get("search"), r.PostForm.Get("into")) },
		"choose":     func(r *http.Request) { s.desk.choose(r.PostForm.Get("block")) },
		"charts":     func(*http.Request) { s.desk.draw() },
		"try":        func(r *http.Request) { s.desk.try(number(r, "plan")) },
	}
	for _, do := range []string{"add", "wire", "unwire", "rename", "remove", "give-out", "rename-voices", "remove-voices", "rename-scene", "put-on", "put-off"} {
		changes[do] = func(r *http.Request) { s.desk.build(do, r.PostForm.Get) }
	}
	for name, change := range changes {
		mux.HandleFunc("POST /"+name, s.change(change))
	}
	mux.HandleFunc("POST /plans", s.plans)
	return s.guard(mux)
}

// number is a number of a form; what is none is 0, which nothing has.
func number(r *http.Request, name string) int {
	n, err := strconv.Atoi(r.PostForm.Get(name))
	if err != nil {
		return 0
	}
	return n
}

// guard lets through what comes from the page itself.
func (s *Server) guard(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", contentRule)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("X-Frame-Options", "DENY")
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		if why := s.foreign(r); why != "" {
			http.Error(w, why, http.StatusForbidden)
			return
		}
		if r.Method == http.MethodPost {
			r.Body = http.MaxBytesReader(w, r.Body, mostBody)
			if err := r.ParseForm(); err != nil {
				http.Error(w, "the form cannot be read: "+err.Error(), http.StatusBadRequest)
				return
			}
			if subtle.ConstantTimeCompare([]byte(r.PostForm.Get("token")), []byte(s.token)) != 1 {
				http.Error(w, "a change needs the token of the page; load it again", http.StatusForbidden)
				return
			}
		}
		// Only what has come whole takes one of the places.
		select {
		case s.atOnce <- struct{}{}:
			defer func() { <-s.atOnce }()
		case <-r.Context().Done():
			return
		}
		next.ServeHTTP(w, r)
	})
}

// foreign says why a request is not of the page itself; "": it is.
func (s *Server) foreign(r *http.Request) string {
	known := func(host string) bool { return host == s.hosts[0] || host == s.hosts[1] || host == s.hosts[2] }
	if !known(r.Host) {
		return "this page answers only to its own address on this machine"
	}
	origin := r.Header.Get("Origin")
	if r.Method != http.MethodGet && r.Method != http.MethodHead && origin == "" {
		return "a change must say where it comes from"
	}
	if origin != "" && origin != "http://"+r.Host {
		return "a request from another site is refused"
	}
	if site := r.Header.Get("Sec-Fetch-Site"); site != "" && site != "same-origin" && site != "none" {
		return "a request from another site is refused"
	}
	return ""
}

// change makes a change and answers with what is shown then.
func (s *Server) change(do func(*http.Request)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		s.turn(func() { do(r) })
		s.answer(w, r)
	}
}

// turn reads the file again, and does something with the desk unless the file is
// broken.
func (s *Server) turn(do func()) {
	d := &s.desk
	d.mu.Lock()
	defer d.mu.Unlock()
	d.refresh()
	if d.broken == "" {
		do()
	}
	d.settle()
}

// plans looks for lighter plans, once at a time. That may take a while, in which
// the rest goes on; it ends where another graph is shown by then.
func (s *Server) plans(w http.ResponseWriter, r *http.Request) {
	if s.planning.TryLock() {
		s.plan(r.Context())
		s.planning.Unlock()
	}
	s.answer(w, r)
}

func (s *Server) plan(ctx context.Context) {
	d := &s.desk
	d.mu.Lock()
	d.refresh()
	if d.broken != "" {
		d.mu.Unlock()
		return
	}
	ctx, stop := context.WithTimeout(ctx, toPlan)
	defer stop()
	e := d.shown()
	d.sought = sought{e, stop}
	d.mu.Unlock()
	advice, err := d.program.Plans(ctx, e)
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.shown() != e || errors.Is(ctx.Err(), context.Canceled) {
		return
	}
	d.version++
	switch {
	case ctx.Err() != nil:
		d.wrong = "the search for lighter plans took too long; 'elbowroom lighten' has all the time it needs"
	case err != nil:
		d.wrong = err.Error()
	default:
		d.advice = *advice
	}
}

// now answers where something else is to be shown than the page has.
func (s *Server) now(w http.ResponseWriter, r *http.Request) {
	s.turn(func() {})
	s.complete(r.Context())
	s.desk.mu.Lock()
	same := r.FormValue("seen") == strconv.Itoa(s.desk.seen())
	s.desk.mu.Unlock()
	if same {
		w.WriteHeader(http.StatusNoContent)
		return
	}
	s.show(w, "desk")
}

func (s *Server) whole(w http.ResponseWriter, r *http.Request) {
	s.turn(func() {})
	s.complete(r.Context())
	s.show(w, "page.html")
}

// complete works out what takes longer than a change may: the bounds of the whole
// graph and of the node that lies open, and charts. One request does so at a
// time, and while it does the page goes on without. It ends where something else
// is wanted by then.
func (s *Server) complete(ctx context.Context) {
	if !s.asking.TryLock() {
		return
	}
	defer s.asking.Unlock()
	d := &s.desk
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	d.mu.Lock()
	q := d.asks()
	if q.of == nil {
		d.mu.Unlock()
		return
	}
	d.asked = asked{q, stop}
	missing := d.bounds.missing(q.of, q.node)
	draw := q.draw && (d.charts.of != q.of || d.charts.node != q.node)
	d.mu.Unlock()
	for _, node := range missing {
		if found, err := boundsOf(ctx, q.of, node); err == nil {
			d.found(func() { d.bounds.keep(q.of, node, found) })
		}
	}
	if draw {
		if list, err := d.program.Charts(ctx, q.of, q.node); ctx.Err() == nil {
			d.found(func() { d.charts = charts{q.of, q.node, list, err} })
		}
	}
}

// found keeps what came after what is shown.
func (d *desk) found(keep func()) {
	d.mu.Lock()
	defer d.mu.Unlock()
	keep()
	d.drawn++
}

func (s *Server) sources(w http.ResponseWriter, _ *http.Request) { s.show(w, "sources.html") }

// answer shows the desk to htmx, and sends a browser without it to the page.
func (s *Server) answer(w http.ResponseWriter, r *http.Request) {
	if r.Header.Get("HX-Request") == "" {
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return
	}
	s.show(w, "desk")
}

// shown is what the templates of the page show.
type shown struct {
	View             *view // nil: the file never was a graph
	Token            string
	Version          int
	File             string
	Unsaved          int
	CanUndo, CanRedo bool
	Broken           string
	Wrong            string
	Told             string
	Diff             string
	Advice           Advice
	Compared         []Table // with the file; nil: nothing was changed
	Draws            bool    // charts are wanted
	Charts           []Chart // nil: they are not drawn yet
	Undrawn          string  // why they cannot be drawn
	Seen             int
	Whole            []control
	Each             []nodeControls
	Bench            bench
	Voices           []string // names of the groups
	Casts            []cast
	Everybody        []string // all that can run in a scene
	Open             *open    // nil: no node lies open
}

// button is a form of one button.
type button struct {
	Token, Do, Text string
	Name            string // of a hidden value; "": none
	Value           int
	Off             bool
}

// Button makes one for the templates.
func (s shown) Button(do, text, name string, value int, off bool) button {
	return button{s.Token, do, text, name, value, off}
}

// Setting is a control with what its form needs, for the templates.
func (s shown) Setting(c control) any {
	return struct {
		control
		Token string
	}{c, s.Token}
}

// show writes a template. It is made whole before the first byte is sent, so
// that a slow reader holds up nobody.
func (s *Server) show(w http.ResponseWriter, name string) {
	var b bytes.Buffer
	if err := templates().ExecuteTemplate(&b, name, s.shown()); err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_, _ = b.WriteTo(w) // a browser that went away needs no answer
}

func (s *Server) shown() shown {
	d := &s.desk
	d.mu.Lock()
	defer d.mu.Unlock()
	v := shown{
		Token: s.token, Version: d.version, Broken: d.broken, Wrong: d.wrong, Told: d.told, Diff: d.diff,
		Advice: d.advice, Draws: d.draws, Seen: d.seen(),
	}
	if len(d.steps) == 0 {
		return v
	}
	v.View = newView(d.program.Subject(d.shown()))
	v.View.Live, v.File, v.Unsaved = true, v.View.File, d.unsaved()
	v.Whole, v.Each = d.controls()
	v.Voices = d.voices()
	v.Casts, v.Everybody = d.casts()
	v.Bench, v.Open = d.bench, d.openNode(v.View)
	if d.at > 0 {
		v.Compared = d.program.Compare(d.steps[0].estimate, d.shown())
	}
	if d.draws && d.charts.of == d.shown() && d.charts.node == d.open {
		v.Charts = d.charts.list
		if d.charts.err != nil {
			v.Undrawn = d.charts.err.Error()
		}
	}
	v.CanUndo, v.CanRedo = d.at > 0, d.at < len(d.steps)-1
	return v
}
