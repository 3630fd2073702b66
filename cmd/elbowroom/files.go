package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/google/renameio/v2/maybe"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/catalog"
	"elbowroom/estimator"
)

// standardInput is the name that stands for it on the command line, and how
// places in it are named.
const (
	standardInput     = "-"
	standardInputName = "stdin"
)

// readText reads a file that a person wrote, or what stdin gives. What is no
// plain file, or larger than is read, it refuses without reading it.
func readText(name string, stdin io.Reader) (*source.File, error) {
	if name == standardInput {
		text, err := readAll(stdin)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", standardInputName, err)
		}
		return source.NewFile(standardInputName, text), nil
	}
	text, err := readFile(name)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return source.NewFile(name, text), nil
}

func readFile(name string) ([]byte, error) {
	info, err := os.Stat(name)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, errors.New("there is no such file")
	case err != nil:
		return nil, reason(err)
	case info.IsDir():
		return nil, errors.New("this is a folder, not a file")
	case !info.Mode().IsRegular():
		return nil, hinted{errors.New("this is no plain file"), "to read from a pipe, name '-' and lead it to standard input"}
	case info.Size() > source.MaxBytes:
		return nil, fmt.Errorf("this has %s, more than the %s that are read", blocks.Bytes(info.Size()).Down(), blocks.Bytes(source.MaxBytes))
	}
	file, err := os.Open(name)
	if err != nil {
		return nil, reason(err)
	}
	defer file.Close()
	return readAll(file)
}

// writeFile writes a file, or where the name is a link, what that leads to: whole
// or, on any error, not at all. A device or a pipe is written to and stays what it
// is.
func writeFile(name string, text []byte, permissions fs.FileMode) error {
	path, err := filepath.EvalSymlinks(name)
	if err != nil {
		path = name
	}
	info, err := os.Lstat(path)
	if errors.Is(err, fs.ErrNotExist) || err == nil && info.Mode().IsRegular() {
		err = maybe.WriteFile(path, text, permissions)
	} else {
		err = os.WriteFile(name, text, permissions)
	}
	if err != nil {
		return fmt.Errorf("writing %s: %w", name, reason(err))
	}
	return nil
}

// sameFile tells whether two names lead to one file that is there.
func sameFile(a, b string) bool {
	one, err := os.Stat(a)
	if err != nil {
		return false
	}
	other, err := os.Stat(b)
	return err == nil && os.SameFile(one, other)
}

// readAll reads what is not larger than is read: a file may grow while it is
// looked at, and of standard input nobody knows before.
func readAll(r io.Reader) ([]byte, error) {
	text, err := io.ReadAll(io.LimitReader(r, source.MaxBytes+1))
	if err != nil {
		return nil, reason(err)
	}
	if len(text) > source.MaxBytes {
		return nil, fmt.Errorf("this has more than the %s that are read", blocks.Bytes(source.MaxBytes))
	}
	return text, nil
}

// reason is what went wrong without the path, which is told already.
func reason(err error) error {
	var path *fs.PathError
	if errors.As(err, &path) {
		return path.Err
	}
	return err
}

// checked is a graph file with what it was estimated to be.
type checked struct {
	name     string // as messages name the file
	estimate *estimator.Estimate
	lib      *blocks.Library // with what the file added to it
	errs     source.Errors   // what is wrong with the file; then there is no estimate
}

// estimate reads a graph file, with the files that it names, and estimates it.
// What is wrong with what the files say is in the result; the error is that a
// file could not be read at all.
func (a *app) estimate(name string, opts overrides) (*checked, error) {
	file, err := readText(name, a.stdin)
	if err != nil {
		return nil, err
	}
	return a.estimateFile(file, name, opts)
}

// estimateFile estimates the graph in a text that was read under a name.
func (a *app) estimateFile(file *source.File, name string, opts overrides) (*checked, error) {
	return a.estimateAs(file, name, opts, false, nil)
}

// estimateAs estimates the graph in a text, unmeasured without what was measured
// on its board, and with a further catalog file where one is given.
func (a *app) estimateAs(file *source.File, name string, opts overrides, unmeasured bool, more *source.File) (*checked, error) {
	lib, err := catalog.Open()
	if err != nil {
		return nil, err
	}
	c := &checked{name: file.Name, lib: lib}
	options := opts.options(&c.errs)
	options.Unmeasured = unmeasured
	if more != nil {
		catalog.Add(lib, more, &c.errs)
	}
	options.Load = (&loader{lib: lib, graph: file, folder: filepath.Dir(name), errs: &c.errs, boards: map[string]string{}, read: a.read}).load
	g := estimator.Read(file, lib, options, &c.errs)
	if g == nil {
		return c, nil
	}
	c.estimate, err = g.EstimateThoroughly()
	var mistake *source.Error
	if errors.As(err, &mistake) {
		c.errs.Add(mistake)
		return c, nil
	}
	return c, err
}

// loader reads the catalog files that a graph names into its library, each
// once.
type loader struct {
	lib    *blocks.Library
	graph  *source.File
	folder string // where the graph file lies
	errs   *source.Errors
	boards map[string]string // path: name of the board in it
	read   func(name string) // told of each file; nil: nobody is
}

// load reads the file at a path, which counts from the folder of the file that
// names it; one that a flag names counts from where the program was started.
func (l *loader) load(path source.Value) string {
	given := path.Text("a path")
	name := filepath.FromSlash(given)
	if path.File() == l.graph && !filepath.IsAbs(name) {
		name = filepath.Join(l.folder, name)
	}
	if board, known := l.boards[name]; known {
		return board
	}
	if l.read != nil {
		l.read(name)
	}
	text, err := readFile(name)
	if err != nil {
		var h hinted
		errors.As(err, &h)
		if slashed := strings.ReplaceAll(given, `\`, "/"); slashed != given {
			h.hint = fmt.Sprintf("write '%s', which is read the same everywhere", slashed)
		}
		path.Fail(h.hint, "cannot read %s: %v", name, err)
		return ""
	}
	board := catalog.Add(l.lib, source.NewFile(name, text), l.errs)
	l.boards[name] = board
	return board
}
