package main

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

	"elbowroom/catalog"
	"elbowroom/cmd/elbowroom/page"
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

// storm is a scene of the theatre with a plate, whose lengths are those of its
// source times its size: at 1 in 16 bits 36331 words, 72662 bytes, and at most
// half as many more, of the board's 131072.
const storm = `# The storm of the second act.
board: m4f-100-128k # the box on the lantern cart
sample_rate: 48 kHz
block_size: 48
reserve: {cpu: 10%} # nothing else runs there
nodes:
  crank:   {block: knob}
  wind:    {block: noise, colour: pink} # behind the sheet
  thunder: {block: delay, from: wind, time: 150 ms, feedback: 0.3}
  # the hall as they hear it in the last row
  plate:   {block: plate-reverb, from: [wind, thunder], format: int16, size: 1} # borrowed
  out:     {block: audio-out, from: plate}
`

// browser is Chromium with the page of a file open in it.
type browser struct {
	t    *testing.T
	ctx  context.Context
	file string
}

// open writes a file, serves it as 'page' does and opens its page in Chromium.
func open(t *testing.T, text string) *browser {
	t.Helper()
	if _, err := exec.LookPath("chromium"); err != nil {
		missing(t, "chromium")
	}
	lib, err := catalog.Open()
	if err != nil {
		t.Fatal(err)
	}
	t.Chdir(t.TempDir())
	b := &browser{t: t, file: "storm.yaml"}
	b.write(text)
	l, err := net.Listen("tcp4", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	server := page.NewServer((&app{}).program(b.file, lib.BoardNames()))
	serving, end := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- server.Serve(serving, l) }()
	t.Cleanup(func() {
		end()
		if err := <-ended; err != nil {
			t.Errorf("the server ends with %v", err)
		}
	})
	ctx, cancel := context.WithTimeout(context.Background(), 8*time.Minute)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewExecAllocator(ctx, append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath("chromium"), chromedp.NoSandbox, chromedp.DisableGPU, chromedp.UserDataDir(filepath.Join(t.TempDir(), "chromium")))...)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	b.ctx = ctx
	b.do("opening", chromedp.Navigate("http://"+l.Addr().String()+"/"))
	return b
}

// write puts a text into the file, as an editor would.
func (b *browser) write(text string) {
	b.t.Helper()
	if err := os.WriteFile(b.file, []byte(text), 0o644); err != nil {
		b.t.Fatal(err)
	}
}

// text is what the file holds.
func (b *browser) text() string {
	b.t.Helper()
	text, err := os.ReadFile(b.file)
	if err != nil {
		b.t.Fatal(err)
	}
	return string(text)
}

func (b *browser) do(what string, steps ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	if err := chromedp.Do(b.ctx, steps...); err != nil {
		b.t.Fatalf("%s: %v", what, err)
	}
}

// patience is how long the page may take on a machine that is busy elsewhere.
const patience = time.Minute

// until waits until a text is shown, or is no longer.
func (b *browser) until(after, text string, there bool) {
	b.t.Helper()
	shown := ""
	for begun := time.Now(); time.Since(begun) < patience; time.Sleep(50 * time.Millisecond) {
		if shown = evaluate[string](b, "document.body.innerText"); strings.Contains(shown, text) == there {
			return
		}
	}
	b.t.Fatalf("after %s: that %q is shown never becomes %v; the page shows\n%.3000s", after, text, there, shown)
}

func (b *browser) shows(after string, wants ...string) {
	b.t.Helper()
	for _, want := range wants {
		b.until(after, want, true)
	}
}

// reach goes to an element with Tab, or back with Shift and Tab, and no other way.
func (b *browser) reach(what, id string) {
	b.t.Helper()
	way := fmt.Sprintf(`(() => {
		const e = document.getElementById(%q), at = document.activeElement
		return e === null ? "missing" : e === at ? "here" : at.compareDocumentPosition(e) & Node.DOCUMENT_POSITION_PRECEDING ? "back" : "on"
	})()`, id)
	for begun := time.Now(); time.Since(begun) < patience; {
		switch evaluate[string](b, way) {
		case "here":
			return
		case "on":
			b.do(what, chromedp.KeyEvent(kb.Tab))
		case "back":
			b.do(what, chromedp.KeyEvent(kb.Tab, chromedp.KeyModifiers(chromedp.ModifierShift)))
		default:
			time.Sleep(50 * time.Millisecond)
		}
	}
	b.t.Fatalf("%s: the keyboard does not reach %s (%s)", what, id, evaluate[string](b, way))
}

// press goes to an element and presses keys there.
func (b *browser) press(what, id, keys string) {
	b.t.Helper()
	b.reach(what, id)
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

// tooBroad are the elements that make the page broader than its window.
const tooBroad = `(() => {
	const { clientWidth: has, scrollWidth: takes } = document.documentElement
	if (takes <= has) return []
	return [takes - has + " pixels"].concat([...document.querySelectorAll("body *")]
		.filter(e => e.getBoundingClientRect().right > has && !e.parentElement.closest(".scroll, pre")).map(e => e.outerHTML.slice(0, 120)))
})()`

// TestEverybodyCanUseIt has axe-core look for what bars people with a
// screen reader or little sight, light and dark, wide and narrow, with all that
// can be open: a node, one that was added, voices, scenes, cards, a comparison,
// charts, and what saving would write.
func TestEverybodyCanUseIt(t *testing.T) {
	rules := axe(t)
	b := open(t, strings.Replace(storm, "size: 1", "size: 1.5", 1)+`voices:
  crowd:
    count: 3
    nodes:
      hum:  {block: noise}
      hush: {block: gain, from: hum}
    out: hush
scenes: {gale: [thunder], lull: [crowd]}
`)
	b.shows("opening", "does not fit", "Scene gale", "Scene lull", "voices crowd, new name")
	b.press("opening a node", "controls-plate-open", kb.Enter)
	b.shows("opening a node", "Wires into plate")
	b.press("searching the catalog", "search", "gain"+kb.Enter)
	b.press("choosing a block", "choose-gain", kb.Enter)
	b.shows("choosing a block", "is fed by")
	b.press("adding a node", "do-add", kb.Enter)
	b.shows("adding a node", "gain added", "Wires into gain")
	b.press("choosing a block again", "choose-gain", kb.Enter)
	b.shows("choosing a block again", "is fed by")
	b.press("looking for plans", "do-plans", kb.Enter)
	b.shows("looking for plans", "Try plan 1")
	b.press("asking for charts", "do-charts", kb.Enter)
	b.shows("asking for charts", "as tables")
	b.press("asking to save", "do-difference", kb.Enter)
	b.shows("asking to save", "What saving writes", "Before and after", "Try plan 1")
	evaluate[int](b, rules+"; document.querySelectorAll('details').forEach(d => d.open = true); 0")
	for _, scheme := range []string{"light", "dark"} {
		for _, width := range []int64{360, 900, 1400} {
			b.look(width, scheme)
			for _, violation := range evaluate[[]string](b,
				"axe.run().then(r => r.violations.map(v => v.id + ': ' + v.help + ': ' + v.nodes.map(n => n.target.join(' ') + ' ' + n.any.map(a => a.message).join(' ')).slice(0, 5).join('; ')))",
				chromedp.EvalAwaitPromise) {
				t.Errorf("%s, %d pixels wide: %s", scheme, width, violation)
			}
			if broad := evaluate[[]string](b, tooBroad); len(broad) > 0 {
				t.Errorf("%s: the page is broader than a window of %d pixels by %s", scheme, width, strings.Join(broad, "; "))
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

// TestByTheKeyboardAlone goes through the page of one file with no other means
// than keys, and looks at the file itself: it moves the size of a plate until the
// board is full, tries a substitute, undoes it, reads cards, comparison and
// charts, makes nodes, saves, and sees the file change, break and mend.
func TestByTheKeyboardAlone(t *testing.T) {
	b := open(t, storm)
	b.shows("opening", "storm.yaml fits m4f-100-128k")

	// The plate's size changes verdict and pictures.
	b.press("opening the plate", "controls-plate-open", kb.Enter)
	b.shows("opening the plate", "Wires into plate", "it holds up to")
	const pictures = "[...document.querySelectorAll('.bar')].map(e => e.outerHTML).join()"
	before := evaluate[string](b, pictures)
	b.press("moving the plate's size", "slide-dial.0.plate.size", kb.End)
	b.shows("moving the plate's size", "storm.yaml does not fit m4f-100-128k", "1 change is not saved", "Before and after", "the graph fits by this alone")
	if evaluate[string](b, pictures) == before {
		t.Error("after the plate's size has turned the verdict over the pictures are the same")
	}
	if got := evaluate[string](b, "document.getElementById('dial.0.plate.size').value"); got != "1.5" {
		t.Errorf("at its end the slider sets the plate's size to %s, want 1.5, which its range ends with", got)
	}

	// A substitute turns over into fits.
	b.press("looking for plans", "do-plans", kb.Enter)
	b.shows("looking for plans", "block: eight-comb-reverb", "long tails ring on single tones")
	b.press("trying a substitute", "do-try-2", kb.Enter)
	b.shows("trying a substitute", "storm.yaml fits m4f-100-128k", "2 changes are not saved", "eight-comb-reverb")
	b.press("undoing it", "do-undo", kb.Enter)
	b.shows("undoing it", "storm.yaml does not fit m4f-100-128k", "1 change is not saved")
	b.press("making it again", "do-redo", kb.Enter)
	b.shows("making it again", "storm.yaml fits m4f-100-128k")

	// Charts, and their figures as tables.
	b.press("asking for charts", "do-charts", kb.Enter)
	b.shows("asking for charts", "as tables")
	b.press("opening a table", "chart-1-show", kb.Enter)
	if !evaluate[bool](b, "document.getElementById('chart-1-tables').open") {
		t.Error("the figures of a chart cannot be opened")
	}
	b.press("putting the charts away", "do-charts", " ")
	b.until("putting the charts away", "as tables", false)

	// Board, block and a note value.
	b.press("taking larger blocks", "dial.0.block_size", "96"+kb.Enter)
	b.shows("taking larger blocks", "block_size: 96")
	b.press("undoing", "do-undo", kb.Enter)
	b.press("opening what makes the echo", "controls-thunder-open", kb.Enter)
	b.shows("opening what makes the echo", "Wires into thunder")
	b.press("reading how it is known", "known-show", kb.Enter)
	b.shows("reading how it is known", "cycles, worst")
	b.press("turning the time", "dial.0.thunder.time", "120 ms"+kb.Enter)
	b.shows("turning the time", "3 changes are not saved")

	// Nodes come, are wired and named, and go.
	b.press("searching the catalog", "search", "gain"+kb.Enter)
	b.press("choosing a block", "choose-gain", kb.Enter)
	b.shows("choosing a block", "is fed by")
	b.press("adding a node", "do-add", kb.Enter)
	b.shows("adding a node", "gain added")
	b.press("naming it", "rename", "veil"+kb.Enter)
	b.shows("naming it", "gain is called veil")
	b.press("wiring it", "do-wire-gain", kb.Enter)
	b.shows("wiring it", "veil: crank wired to gain")
	b.press("taking the wire off", "unwire-gain-crank", kb.Enter)
	b.shows("taking the wire off", "no longer wired to gain")
	b.press("taking the node out", "do-remove", kb.Enter)
	b.shows("taking the node out", "veil taken out")
	for range 5 {
		b.press("undoing", "do-undo", kb.Enter)
	}

	// Voices are made and named, get a further node and go; so do scenes.
	b.press("searching for what voices are made of", "search", "noise"+kb.Enter)
	b.press("choosing it", "choose-noise", kb.Enter)
	b.shows("choosing it", "as the first of new voices")
	b.press("naming the first of the voices", "add-name", "hum")
	b.press("naming new voices", "add-voices", "crowd"+kb.Enter)
	b.shows("making voices", "crowd.hum added", "voices crowd, new name")
	b.press("naming voices", "voices-crowd", "mob")
	b.press("naming voices", "do-rename-voices-crowd", kb.Enter)
	b.shows("naming voices", "crowd is called mob")
	b.press("choosing where a node goes", "into", "mob")
	b.press("searching for what goes among voices", "search", "gain"+kb.Enter)
	b.press("choosing it", "choose-gain", kb.Enter)
	b.shows("choosing it", "It is added to the voices mob")
	b.press("adding it", "do-add", kb.Enter)
	b.shows("adding it", "mob.gain added", "Let gain be what the voices give out")
	b.press("letting it give out", "do-give-out", kb.Enter)
	b.shows("letting it give out", "mob.gain is what its voices give out")
	b.press("opening what no longer gives out", "controls-mob.hum-open", kb.Enter)
	b.shows("opening what no longer gives out", "Wires into hum", "Let hum be what the voices give out")
	b.press("letting it give out", "do-give-out", kb.Enter)
	b.shows("letting it give out", "mob.hum is what its voices give out")
	b.press("opening the other", "controls-mob.gain-open", kb.Enter)
	b.shows("opening the other", "Wires into gain")
	b.press("taking it out of the voices", "do-remove", kb.Enter)
	b.shows("taking it out of the voices", "mob.gain taken out")
	b.press("naming a scene", "new-scene", "storm")
	b.press("naming another", "other-scene", "calm")
	b.press("choosing what that begins with", "other-cue", "mob")
	b.press("making scenes", "do-put-on", kb.Enter)
	b.shows("making scenes", "Scene storm", "Scene calm")
	b.press("choosing what runs in a scene", "cue-calm", "wind")
	b.press("putting it in", "do-put-on-calm", kb.Enter)
	b.shows("putting it in", "wind runs in calm", "Take wind out of calm")
	b.press("naming a scene", "scene-calm", "dawn")
	b.press("naming a scene", "do-rename-scene-calm", kb.Enter)
	b.shows("naming a scene", "calm is called dawn", "Scene dawn")
	b.press("taking it out", "do-put-off-dawn.wind", kb.Enter)
	b.shows("taking it out", "wind no longer runs in dawn")
	b.press("putting it in again", "do-put-on-dawn", kb.Enter)
	b.shows("putting it in again", "runs in dawn")
	b.press("taking the voices out", "do-remove-voices-mob", kb.Enter)
	b.shows("taking the voices out", "mob taken out")
	for range 12 {
		b.press("undoing", "do-undo", kb.Enter)
	}
	b.shows("undoing", "3 changes are not saved")

	// Saving keeps comments.
	b.press("asking to save", "do-difference", kb.Enter)
	b.shows("asking to save", "What saving writes")
	if b.text() != storm {
		t.Fatal("the file was written before anything was saved")
	}
	b.press("saving", "do-save", kb.Enter)
	b.shows("saving", "saved into storm.yaml")
	want := strings.NewReplacer("time: 150 ms", "time: 120 ms",
		"{block: plate-reverb, from: [wind, thunder], format: int16, size: 1}", "{block: eight-comb-reverb, from: [wind, thunder], format: int16, damping: 0.0005, decay: 1.8 s}").Replace(storm)
	if got := b.text(); got != want {
		t.Errorf("saving writes\n%s\nwant only time and substitute changed:\n%s", got, want)
	}

	// What another program writes shows; what is not saved here stays.
	b.press("opening what makes the echo again", "controls-thunder-open", kb.Enter)
	b.press("turning the time", "dial.0.thunder.time", "100 ms"+kb.Enter)
	b.shows("turning the time", "1 change is not saved")
	b.write(strings.Replace(want, "colour: pink", "colour: white", 1))
	b.shows("a change by another program", "what is not saved here was kept", "1 change is not saved")
	b.press("going back to the file", "do-drop", kb.Enter)
	b.shows("going back to the file", "back to the file as it is saved")
	b.write(strings.Replace(want, "colour: pink", "colour: wite", 1))
	b.shows("breaking the file", "storm.yaml:8:", "^", "did you mean 'white'?", "nothing can be changed until the file is mended")
	b.write(storm)
	b.until("mending the file", "cannot be read as a graph", false)
	b.shows("mending the file", "storm.yaml fits m4f-100-128k", "Plate reverberator")

	if n := evaluate[int](b, "performance.getEntriesByType('resource').filter(e => new URL(e.name).origin !== location.origin).length"); n != 0 {
		t.Errorf("the page asks other hosts %d times, want never", n)
	}
}

// TestWhatIsNotSentStays chooses and writes without sending, has an answer come
// that nobody asked for and one to another form, and finds the fields as they
// were left; what is sent and refused goes back to what holds.
func TestWhatIsNotSentStays(t *testing.T) {
	b := open(t, storm+"voices: {crowd: {count: 3, nodes: {hum: {block: noise}}, out: hum}}\n")
	b.shows("opening", "voices crowd, new name")
	b.press("choosing where a node goes", "into", "crowd")
	b.press("writing a name", "voices-crowd", "mob")
	b.press("writing a scene", "new-scene", "gale")
	b.reach("going on", "do-search")
	left := func(after string) {
		t.Helper()
		const fields = "['into', 'voices-crowd', 'new-scene'].map(id => document.getElementById(id).value).join()"
		if got := evaluate[string](b, fields); got != "crowd,mob,gale" {
			t.Errorf("after %s the fields hold %s, want crowd,mob,gale", after, got)
		}
	}
	left("leaving them")
	b.write(strings.Replace(b.text(), "colour: pink", "colour: wite", 1))
	b.shows("a change by another program", "did you mean 'white'?")
	left("a change by another program")
	b.write(strings.Replace(b.text(), "colour: wite", "colour: pink", 1))
	b.until("another", "did you mean 'white'?", false)
	left("another")
	b.press("opening what makes the echo", "controls-thunder-open", kb.Enter)
	b.shows("opening what makes the echo", "Wires into thunder")
	left("an answer to another form")
	b.press("writing what cannot be", "dial.0.thunder.time", "9 kHz"+kb.Enter)
	b.shows("writing what cannot be", "That cannot be done", "9 kHz")
	b.reach("going on", "do-search")
	left("a refusal")
	if got := evaluate[string](b, "document.getElementById('dial.0.thunder.time').value"); got != "150 ms" {
		t.Errorf("a time that was refused stays as %s, want 150 ms", got)
	}
}
