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

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// TestInABrowser goes through the page in Chromium by the keyboard alone: it
// turns a number, looks for plans, tries one, undoes it, saves, and sees the file
// change, break and mend.
func TestInABrowser(t *testing.T) {
	if _, err := exec.LookPath("chromium"); err != nil {
		if os.Getenv("ELBOWROOM_TOOLS") == "required" {
			t.Fatal("chromium is not here, and ELBOWROOM_TOOLS requires it")
		}
		t.Skip("chromium is not here")
	}
	s := newStage(t, strings.Replace(hall, "m7-216-512k", "m4f-100-128k", 1))
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

	do := func(what string, steps ...chromedp.Action[chromedp.Void]) {
		t.Helper()
		if err := chromedp.Do(ctx, steps...); err != nil {
			t.Fatalf("%s: %v", what, err)
		}
	}
	body := func() string {
		text, err := chromedp.Run(ctx, chromedp.Evaluate[string]("document.body.innerText"))
		if err != nil {
			t.Fatal(err)
		}
		return text
	}
	until := func(after, text string, there bool) {
		t.Helper()
		shown := ""
		for range 100 {
			if shown = body(); strings.Contains(shown, text) == there {
				return
			}
			time.Sleep(100 * time.Millisecond)
		}
		t.Fatalf("after %s: that %q is shown never becomes %v; the page shows\n%.1500s", after, text, there, shown)
	}
	shows := func(after, want string) { t.Helper(); until(after, want, true) }
	// press focuses an element as Tab would and presses keys there.
	press := func(what, id, keys string) {
		t.Helper()
		ok, err := chromedp.Run(ctx, chromedp.Evaluate[bool](fmt.Sprintf(
			"(() => { const e = document.getElementById(%q); if (!e || e.tabIndex < 0) return false; e.focus(); if (e.select) e.select(); return document.activeElement === e })()", id)))
		if err != nil || !ok {
			t.Fatalf("%s: the keyboard does not reach %s (%v)", what, id, err)
		}
		do(what, chromedp.KeyEvent(keys))
	}
	write := func(text string) {
		t.Helper()
		if err := os.WriteFile(s.path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}

	do("opening", chromedp.Navigate("http://"+l.Addr().String()+"/"))
	shows("opening", "hall.yaml is fits")
	press("opening the controls of echo", "controls-echo-open", kb.Enter)
	shows("opening the controls of echo", "Wires into echo")
	press("searching the catalog", "search", "gain"+kb.Enter)
	shows("searching the catalog", "Gain")
	press("choosing a block", "choose-gain", kb.Enter)
	shows("choosing a block", "is fed by")
	press("adding a node", "do-add", kb.Enter)
	shows("adding a node", "gain added")
	press("renaming it", "rename", "veil"+kb.Enter)
	shows("renaming it", "gain is called veil")
	press("taking it out", "do-remove", kb.Enter)
	shows("taking it out", "veil taken out")
	press("going back to the file", "do-drop", kb.Enter)
	shows("going back to the file", "back to the file as it is saved")
	press("opening the controls of echo again", "controls-echo-open", kb.Enter)
	shows("opening the controls of echo again", "Wires into echo")
	press("turning the time", "dial.0.echo.time", "2 s"+kb.Enter)
	shows("turning the time", "hall.yaml is over")
	press("looking for plans", "do-plans", kb.Enter)
	shows("looking for plans", "a shorter echo")
	press("trying a plan", "do-try-1", kb.Enter)
	shows("trying a plan", "2 changes are not saved")
	shows("trying a plan", "hall.yaml is fits")
	press("undoing", "do-undo", kb.Enter)
	shows("undoing", "hall.yaml is over")
	press("redoing", "do-redo", kb.Enter)
	shows("redoing", "hall.yaml is fits")
	press("moving the slider", "slide-dial.0.echo.time", kb.ArrowRight)
	shows("moving the slider", "3 changes are not saved")
	press("undoing", "do-undo", kb.Enter)
	shows("undoing", "2 changes are not saved")
	press("asking to save", "do-difference", kb.Enter)
	shows("asking to save", "What saving writes")
	press("saving", "do-save", kb.Enter)
	shows("saving", "saved into hall.yaml")
	if got, want := s.text(t), strings.Replace(strings.Replace(hall, "m7-216-512k", "m4f-100-128k", 1), "200 ms", "100 ms", 1); got != want {
		t.Errorf("saving writes\n%s\nwant only the time changed:\n%s", got, want)
	}
	write(strings.Replace(s.text(t), "noise", "niose", 1))
	shows("breaking the file", "did you mean 'noise'?")
	write(hall)
	until("mending the file", "cannot be read as a graph", false)
	elsewhere, err := chromedp.Run(ctx, chromedp.Evaluate[int](
		"performance.getEntriesByType('resource').filter(e => new URL(e.name).origin !== location.origin).length"))
	if err != nil || elsewhere != 0 {
		t.Errorf("the page asks other hosts %d times (%v), want never", elsewhere, err)
	}
	broad, err := chromedp.Run(ctx, chromedp.Evaluate[int]("document.documentElement.scrollWidth - document.documentElement.clientWidth"))
	if err != nil || broad > 0 {
		t.Errorf("the page is %d pixels broader than its window (%v)", broad, err)
	}
}
