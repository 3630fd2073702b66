package page_test

import (
	"context"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// missing skips a test whose outside tool is not here; where the tools are
// required it fails.
func missing(t *testing.T, what string) {
	t.Helper()
	if os.Getenv("ELBOWROOM_TOOLS") == "required" {
		t.Fatalf("%s is not here, and ELBOWROOM_TOOLS requires it", what)
	}
	t.Skipf("%s is not here", what)
}

// browser is Chromium with the page of a stage open in it.
type browser struct {
	t   *testing.T
	ctx context.Context
}

// open serves a stage and opens its page in Chromium.
func (s *stage) open(t *testing.T) *browser {
	t.Helper()
	if _, err := exec.LookPath("chromium"); err != nil {
		missing(t, "chromium")
	}
	l, err := net.Listen("tcp4", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	serving, end := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- s.server.Serve(serving, l) }()
	t.Cleanup(func() {
		end()
		if err := <-ended; err != nil {
			t.Errorf("the server ends with %v", err)
		}
	})
	ctx, cancel := context.WithTimeout(context.Background(), 3*time.Minute)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewExecAllocator(ctx, append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath("chromium"), chromedp.NoSandbox, chromedp.DisableGPU, chromedp.UserDataDir(filepath.Join(t.TempDir(), "chromium")))...)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	b := &browser{t, ctx}
	b.do("opening", chromedp.Navigate("http://"+l.Addr().String()+"/"))
	return b
}

func (b *browser) do(what string, steps ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	if err := chromedp.Do(b.ctx, steps...); err != nil {
		b.t.Fatalf("%s: %v", what, err)
	}
}

// until waits until a text is shown, or is no longer.
func (b *browser) until(after, text string, there bool) {
	b.t.Helper()
	shown := ""
	for range 100 {
		if shown = evaluate[string](b, "document.body.innerText"); strings.Contains(shown, text) == there {
			return
		}
		time.Sleep(100 * time.Millisecond)
	}
	b.t.Fatalf("after %s: that %q is shown never becomes %v; the page shows\n%.1500s", after, text, there, shown)
}

func (b *browser) shows(after, want string) { b.t.Helper(); b.until(after, want, true) }

// press focuses an element as Tab would and presses keys there.
func (b *browser) press(what, id, keys string) {
	b.t.Helper()
	if !evaluate[bool](b, fmt.Sprintf(
		"(() => { const e = document.getElementById(%q); if (!e || e.tabIndex < 0) return false; e.focus(); if (e.select) e.select(); return document.activeElement === e })()", id)) {
		b.t.Fatalf("%s: the keyboard does not reach %s", what, id)
	}
	b.do(what, chromedp.KeyEvent(keys))
}

// evaluate is the value of an expression in the page.
func evaluate[T any](b *browser, expression string, options ...chromedp.EvaluateOption) T {
	b.t.Helper()
	v, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](expression, options...))
	if err != nil {
		b.t.Fatalf("%.80s: %v", expression, err)
	}
	return v
}

// look shows the page at a width and in a scheme of colours.
func (b *browser) look(width int64, scheme string) {
	b.t.Helper()
	b.do("resizing", chromedp.EmulateViewport(width, 900), func(ctx context.Context, target *chromedp.Target) (chromedp.Void, error) {
		_, err := cdp.Call(ctx, target, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
			Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}},
		})
		return chromedp.Void{}, err
	})
}

// axeVersion is the release of axe-core, from npm, that '.ci/run' fetches.
const axeVersion = "4.14.1"

// axe is the text of axe-core.
func axe(t *testing.T) string {
	t.Helper()
	cache, err := os.UserCacheDir()
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(filepath.Join(cache, "elbowroom", "axe-core-"+axeVersion, "axe.min.js"))
	if err != nil {
		missing(t, "axe-core "+axeVersion+", which '.ci/run' fetches into "+cache+",")
	}
	return string(text)
}

// TestEverybodyCanUseIt has axe-core look for what bars people with a
// screen reader or little sight, light and dark, wide and narrow, with all that
// can be open.
func TestEverybodyCanUseIt(t *testing.T) {
	rules := axe(t)
	s := newStage(t, strings.Replace(strings.Replace(hall, "m7-216-512k", "m4f-100-128k", 1), "200 ms", "1 s", 1))
	s.post(t, "/open", "node", "echo")
	s.post(t, "/set", "name", "dial.0.block_size", "value", "64")
	s.post(t, "/search", "search", "delay")
	s.post(t, "/choose", "block", "delay")
	s.post(t, "/charts")
	s.post(t, "/plans")
	s.post(t, "/difference")
	b := s.open(t)
	b.shows("opening", "What saving writes")
	evaluate[int](b, rules+"; document.querySelectorAll('details').forEach(d => d.open = true); 0")
	for _, scheme := range []string{"light", "dark"} {
		for _, width := range []int64{360, 900, 1400} {
			b.look(width, scheme)
			for _, violation := range evaluate[[]string](b,
				"axe.run().then(r => r.violations.map(v => v.id + ': ' + v.help + ': ' + v.nodes.map(n => n.target.join(' ') + ' ' + n.any.map(a => a.message).join(' ')).slice(0, 5).join('; ')))",
				chromedp.EvalAwaitPromise) {
				t.Errorf("%s, %d pixels wide: %s", scheme, width, violation)
			}
			if broad := evaluate[int](b, "document.documentElement.scrollWidth - document.documentElement.clientWidth"); broad > 0 {
				t.Errorf("%s: the page is %d pixels broader than a window of %d", scheme, broad, width)
			}
			if folder := os.Getenv("ELBOWROOM_PICTURES"); folder != "" {
				picture, err := chromedp.Run(b.ctx, chromedp.FullScreenshot(100))
				if err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(filepath.Join(folder, fmt.Sprintf("%s-%d.png", scheme, width)), picture, 0o644); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
}

// TestThePlateIsMoved moves how much a plate holds until the board is full.
func TestThePlateIsMoved(t *testing.T) {
	text := strings.Replace(strings.Replace(hall, "m7-216-512k", "m4f-100-128k", 1), "time: 200 ms", "time: 100 ms", 1)
	text = strings.Replace(text, "  out:   {block: audio-out, from: howl}", "  plate: {block: plate-reverb, from: howl, format: int16, predelay: 10 ms}\n  out:   {block: audio-out, from: plate}", 1)
	b := newStage(t, text).open(t)
	b.shows("opening", "hall.yaml is fits")
	b.press("opening the plate", "controls-plate-open", kb.Enter)
	b.shows("opening the plate", "Wires into plate")
	const picture = "document.querySelector('.shelf .bar').outerHTML + document.querySelector('.bar').outerHTML"
	before := evaluate[string](b, picture)
	b.press("moving it", "slide-dial.0.plate.predelay", kb.End)
	b.shows("moving it", "hall.yaml is over")
	if evaluate[string](b, picture) == before {
		t.Error("after the verdict has turned over the pictures are the same")
	}
	b.press("moving it back", "slide-dial.0.plate.predelay", kb.Home)
	b.shows("moving it back", "hall.yaml is fits")
}

// TestInABrowser goes through the page in Chromium by the keyboard alone: it
// turns a number, looks for plans, tries one, undoes it, saves, and sees the file
// change, break and mend.
func TestInABrowser(t *testing.T) {
	s := newStage(t, strings.Replace(hall, "m7-216-512k", "m4f-100-128k", 1))
	b := s.open(t)
	write := func(text string) {
		t.Helper()
		if err := os.WriteFile(s.path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	b.shows("opening", "hall.yaml is fits")
	b.press("opening the controls of echo", "controls-echo-open", kb.Enter)
	b.shows("opening the controls of echo", "Wires into echo")
	b.press("searching the catalog", "search", "gain"+kb.Enter)
	b.shows("searching the catalog", "Gain")
	b.press("choosing a block", "choose-gain", kb.Enter)
	b.shows("choosing a block", "is fed by")
	b.press("adding a node", "do-add", kb.Enter)
	b.shows("adding a node", "gain added")
	b.press("renaming it", "rename", "veil"+kb.Enter)
	b.shows("renaming it", "gain is called veil")
	b.press("taking it out", "do-remove", kb.Enter)
	b.shows("taking it out", "veil taken out")
	b.press("going back to the file", "do-drop", kb.Enter)
	b.shows("going back to the file", "back to the file as it is saved")
	b.press("opening the controls of echo again", "controls-echo-open", kb.Enter)
	b.shows("opening the controls of echo again", "Wires into echo")
	b.press("turning the time", "dial.0.echo.time", "2 s"+kb.Enter)
	b.shows("turning the time", "hall.yaml is over")
	b.press("looking for plans", "do-plans", kb.Enter)
	b.shows("looking for plans", "a shorter echo")
	b.press("trying a plan", "do-try-1", kb.Enter)
	b.shows("trying a plan", "2 changes are not saved")
	b.shows("trying a plan", "hall.yaml is fits")
	b.press("undoing", "do-undo", kb.Enter)
	b.shows("undoing", "hall.yaml is over")
	b.press("redoing", "do-redo", kb.Enter)
	b.shows("redoing", "hall.yaml is fits")
	b.press("moving the slider", "slide-dial.0.echo.time", kb.ArrowRight)
	b.shows("moving the slider", "3 changes are not saved")
	b.press("undoing", "do-undo", kb.Enter)
	b.shows("undoing", "2 changes are not saved")
	b.press("asking to save", "do-difference", kb.Enter)
	b.shows("asking to save", "What saving writes")
	b.press("saving", "do-save", kb.Enter)
	b.shows("saving", "saved into hall.yaml")
	if got, want := s.text(t), strings.Replace(strings.Replace(hall, "m7-216-512k", "m4f-100-128k", 1), "200 ms", "100 ms", 1); got != want {
		t.Errorf("saving writes\n%s\nwant only the time changed:\n%s", got, want)
	}
	write(strings.Replace(s.text(t), "noise", "niose", 1))
	b.shows("breaking the file", "did you mean 'noise'?")
	write(hall)
	b.until("mending the file", "cannot be read as a graph", false)
	if n := evaluate[int](b, "performance.getEntriesByType('resource').filter(e => new URL(e.name).origin !== location.origin).length"); n != 0 {
		t.Errorf("the page asks other hosts %d times, want never", n)
	}
}
