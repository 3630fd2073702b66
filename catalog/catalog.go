// Package catalog holds the blocks, boards, codecs, cores and loss curves that
// Elbowroom ships, and reads such files, its own and the user's alike.
//
// Open gives a library in which every shipped file is read when it is first
// asked for: a check reads only the blocks that its graph names. Add reads a
// user's own file into a library, as strictly.
package catalog

import (
	"embed"
	"fmt"
	"io/fs"
	"path"
	"slices"
	"strings"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
)

//go:embed blocks boards codecs cores hearing.yaml
var shipped embed.FS

// Open gives the library of everything that is shipped.
func Open() (*blocks.Library, error) {
	lib := &blocks.Library{}
	families, err := fs.ReadDir(shipped, "blocks")
	if err != nil {
		return nil, fmt.Errorf("reading the catalog: %w", err)
	}
	for _, family := range families {
		if err := each(path.Join("blocks", family.Name()), func(file, name string) error {
			return lib.DefineBlock(name, func() (*blocks.Block, error) { return load(file, readBlock) })
		}); err != nil {
			return nil, err
		}
	}
	if err := each("boards", func(file, name string) error {
		return lib.DefineBoard(name, func() (*blocks.Board, error) {
			return load(file, func(v source.Value) *blocks.Board { return readBoard(v, lib) })
		})
	}); err != nil {
		return nil, err
	}
	if err := each("codecs", func(file, name string) error {
		return lib.DefineCodec(name, func() (*blocks.Codec, error) { return load(file, readCodec) })
	}); err != nil {
		return nil, err
	}
	if err := each("cores", func(file, name string) error {
		return lib.DefineCore(name, func() (*blocks.Core, error) {
			c, err := load(file, readCore)
			if err == nil && c.EmulatedBand.High > 0 {
				c.Emulated = emulatedOn(name)
			}
			return c, err
		})
	}); err != nil {
		return nil, err
	}
	lib.DefineHearing(func() (*blocks.Hearing, error) { return load("hearing.yaml", readHearing) })
	return lib, nil
}

// each calls define for every YAML file in a folder of the shipped catalog.
func each(folder string, define func(file, name string) error) error {
	entries, err := fs.ReadDir(shipped, folder)
	if err != nil {
		return fmt.Errorf("reading the catalog: %w", err)
	}
	for _, e := range entries {
		name, ok := strings.CutSuffix(e.Name(), ".yaml")
		if !ok {
			return fmt.Errorf("reading the catalog: %s is no YAML file", path.Join(folder, e.Name()))
		}
		if err := define(path.Join(folder, e.Name()), name); err != nil {
			return fmt.Errorf("reading the catalog: %w", err)
		}
	}
	return nil
}

// load reads one shipped file.
func load[T any](file string, read func(source.Value) T) (T, error) {
	var none T
	text, err := fs.ReadFile(shipped, file)
	if err != nil {
		return none, fmt.Errorf("reading the catalog: %w", err)
	}
	var errs source.Errors
	v := parse(file, text, &errs)
	if !v.Given() {
		return none, errs.Err()
	}
	thing := read(v)
	if err := errs.Err(); err != nil {
		return none, err
	}
	return thing, nil
}

// Add reads a file of the user's own, which holds one block, one board, one core
// or what was measured on a board, into a library. Mistakes go to errs. It returns the name of the board
// where the file holds one.
func Add(lib *blocks.Library, file *source.File, errs *source.Errors) (board string) {
	before := errs.Len()
	v := source.Parse(file, errs)
	if !v.Given() {
		return ""
	}
	var name source.Value
	var define func() error
	switch {
	case !v.IsMapping():
		v.Object("the file")
		return ""
	case v.Under("block").Given():
		name = v.Under("block")
		b := readBlock(v)
		b.FromUser = true
		define = func() error { return lib.DefineBlock(b.Name, func() (*blocks.Block, error) { return b, nil }) }
	case v.Under("board").Given():
		name = v.Under("board")
		b := readBoard(v, lib)
		b.FromUser = true
		board = b.Name
		define = func() error { return lib.DefineBoard(b.Name, func() (*blocks.Board, error) { return b, nil }) }
	case v.Under("core").Given():
		name = v.Under("core")
		c := readCore(v)
		c.FromUser = true
		define = func() error { return lib.DefineCore(c.Name, func() (*blocks.Core, error) { return c, nil }) }
	case v.Under("metrics").Given():
		name = v.Under("metrics")
		h := readHearing(v)
		define = func() error { return judged(lib, v, h) }
	case v.Under("measured").Given():
		name = v.Under("measured")
		m := readMeasured(v)
		define = func() error { lib.AddMeasured(m); return nil }
	default:
		v.Fail("begin it with 'block: NAME', 'board: NAME', 'core: NAME', 'metrics:' or 'measured: BOARD'", "the file holds no block, board, core, metrics or measurements")
		return ""
	}
	if errs.Len() > before {
		return ""
	}
	if err := define(); err != nil {
		name.Fail("give it another name", "%v", err)
		return ""
	}
	return board
}

// judged lets a user's own curves take the place of those of the same metrics.
func judged(lib *blocks.Library, v source.Value, h *blocks.Hearing) error {
	shipped, err := lib.Hearing()
	if err != nil {
		return err
	}
	known := make([]string, len(shipped.Metrics))
	for i, m := range shipped.Metrics {
		known[i] = m.Name
	}
	strange := false
	for _, m := range v.Under("metrics").Object("metrics").Rest() {
		if !slices.Contains(known, m.Name) {
			m.Key.Fail(source.DidYouMean(m.Name, known), "no block gives the metric '%s'", m.Name)
			strange = true
		}
	}
	if !strange {
		own := shipped.With(h)
		lib.DefineHearing(func() (*blocks.Hearing, error) { return own, nil })
	}
	return nil
}
