package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"time"

	"github.com/fsnotify/fsnotify"
	"github.com/spf13/cobra"
)

// quiet is how long nothing must happen to a file before it is read again: an
// editor saves in several steps. House judgement, short enough to answer within
// a tenth of a second of a save.
const quiet = 25 * time.Millisecond

// clear empties a terminal and goes to its top.
const clear = "\x1b[2J\x1b[H"

// watchFlag lets a command answer again after every save.
func watchFlag(cmd *cobra.Command) *bool {
	return cmd.Flags().Bool("watch", false, "answer again whenever a file is saved, until interrupted")
}

// answer prints an answer once, or with watch again whenever one of the files
// is saved.
func (a *app) answer(cmd *cobra.Command, watch bool, files []string, print func(io.Writer) error) error {
	if !watch {
		return a.answered(print)
	}
	for _, name := range files {
		if name == standardInput {
			return hinted{errors.New("--watch looks at files, and standard input is none"), "name the file"}
		}
	}
	ctx, stop := signal.NotifyContext(cmd.Context(), os.Interrupt)
	defer stop()
	watcher, err := fsnotify.NewWatcher()
	if err != nil {
		return fmt.Errorf("--watch: %w", err)
	}
	defer watcher.Close()
	w := &watching{app: a, watcher: watcher, print: print, seen: map[string]bool{}, folders: map[string]bool{}}
	a.read = w.look
	for _, name := range files {
		w.look(name)
	}
	return w.run(ctx)
}

// watching is a command that answers again and again.
type watching struct {
	app     *app
	watcher *fsnotify.Watcher
	print   func(io.Writer) error
	seen    map[string]bool // files by their full paths
	folders map[string]bool
	good    []byte // the last answer that could be given
}

// look watches a file. It watches its folder, since many editors do not write
// a file but put a new one in its place.
func (w *watching) look(name string) {
	path, err := filepath.Abs(name)
	if err != nil {
		return
	}
	w.seen[path] = true
	if folder := filepath.Dir(path); !w.folders[folder] {
		// A folder that cannot be watched is told where its file is read.
		w.folders[folder] = w.watcher.Add(folder) == nil
	}
}

// run answers, and again after each save, until it is interrupted.
func (w *watching) run(ctx context.Context) error {
	saved := time.NewTimer(0)
	defer saved.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case event, open := <-w.watcher.Events:
			if !open {
				return nil
			}
			if w.seen[event.Name] && event.Op&^fsnotify.Chmod != 0 {
				saved.Reset(quiet)
			}
		case err, open := <-w.watcher.Errors:
			if open {
				return fmt.Errorf("--watch: %w", err)
			}
		case <-saved.C:
			if err := w.show(); err != nil {
				return err
			}
		}
	}
}

// show answers once. Where a file is broken, what is wrong with it is told and
// the last good answer stays.
func (w *watching) show() error {
	a := w.app
	var answer, complaints bytes.Buffer
	stderr := a.stderr
	a.stderr, a.exit = &complaints, exitFits
	err := w.print(&answer)
	if err != nil {
		a.complain(err)
	}
	a.stderr = stderr
	terminal := newPainter(a.stdout).terminal
	broken := err != nil || a.exit == exitWrong
	if !broken {
		w.good = answer.Bytes()
	}
	var text []byte
	switch {
	case terminal:
		text = append([]byte(clear), w.good...)
	case !broken:
		text = w.good
	}
	if _, err := a.stdout.Write(text); err != nil {
		return fmt.Errorf("writing the answer: %w", reason(err))
	}
	if complaints.Len() > 0 {
		if terminal && broken && len(w.good) > 0 {
			fmt.Fprintln(a.stderr, "\nabove is the last good answer; now")
		}
		_, _ = a.stderr.Write(complaints.Bytes())
	}
	return nil
}
