package estimator

import (
	"errors"
	"path"
	"strings"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
)

// load reads a file that the graph names, and tells whether it could be read.
func (r *graphReader) load(path source.Value) (board string, ok bool) {
	if r.opts.Load == nil {
		path.Fail("", "other files are not read here")
		return "", false
	}
	before := r.errs.Len()
	board = r.opts.Load(path)
	return board, r.errs.Len() == before
}

func (r *graphReader) board(v source.Value, o *source.Object) {
	if r.opts.Board.Given() {
		v = r.opts.Board
	} else if !v.Given() {
		if !o.Has("board") {
			o.Need("board")
		}
		return
	}
	name := v.Text("the name of a board")
	if !v.IsText() {
		return
	}
	if blocks.IsBoardFile(name) {
		loaded, ok := r.load(v)
		if !ok {
			return
		}
		if loaded == "" {
			v.Fail("a board file begins with 'board: NAME'", "the file holds no board")
			return
		}
		name = loaded
	}
	board, err := r.lib.BoardOrChip(name)
	if err != nil {
		hint := ""
		var unknown *blocks.UnknownError
		if errors.As(err, &unknown) {
			if r.incomplete {
				return
			}
			if hint = source.DidYouMean(name, r.lib.BoardNames()); hint == "" {
				hint = "'elbowroom boards' lists them, 'elbowroom boards --chip MARKING' finds one by its chip"
			}
		}
		v.Fail(hint, "%v", err)
		return
	}
	core, err := r.lib.Core(board.Core)
	if err != nil {
		v.Fail("", "%v", err)
		return
	}
	r.g.Board, r.g.Core, r.g.Run = board, core, board.Layouts[0].Bank
	if !r.opts.Unmeasured {
		r.g.measure(r.lib)
	}
}

func (r *graphReader) rates(o *source.Object) {
	g := r.g
	g.SampleRate, g.BlockSize = 48000, 48 // so that reading goes on after a mistake
	rate, size := o.Take("sample_rate"), o.Take("block_size")
	if r.opts.SampleRate.Given() {
		rate = r.opts.SampleRate
	} else if !rate.Given() && !o.Has("sample_rate") {
		o.Need("sample_rate")
	}
	if r.opts.BlockSize.Given() {
		size = r.opts.BlockSize
	} else if !size.Given() && !o.Has("block_size") {
		o.Need("block_size")
	}
	fastest := blocks.Hertz(MaxSampleRate) // of control
	if v, ok := r.base.ReadValue(rate, blocks.UnitFrequency); ok {
		if v < MinSampleRate || v > MaxSampleRate {
			rate.Fail("", "a sample rate lies between %v and %v", blocks.Hertz(MinSampleRate), blocks.Hertz(MaxSampleRate))
		} else {
			g.SampleRate, fastest = blocks.Hertz(v), blocks.Hertz(v)
		}
	}
	if v, ok := r.base.ReadValue(size, blocks.UnitCount); ok {
		if v < 1 || v > MaxBlockSize {
			size.Fail("", "a block has from 1 to %d samples", MaxBlockSize)
		} else {
			g.BlockSize = int(v)
		}
	}
	if v := o.Take("control_rate"); v.Given() {
		if rate, ok := r.base.ReadValue(v, blocks.UnitFrequency); ok {
			if rate <= 0 || rate > float64(fastest) {
				v.Fail("", "a control rate is above 0 Hz and at most the sample rate, %v", fastest)
			} else {
				g.ControlRate = blocks.Hertz(rate)
			}
		}
	}
}

func (r *graphReader) reserve(v source.Value) {
	o := v.Object("reserve")
	for name, share := range map[string]*float64{"cpu": &r.g.Reserve.CPU, "memory": &r.g.Reserve.Memory, "flash": &r.g.Reserve.Flash} {
		rv := o.Take(name)
		if x, ok := r.base.ReadValue(rv, blocks.UnitRatio); ok {
			if x < 0 || x >= 1 {
				rv.Fail("write it like '20%'", "a reserve is at least 0 %% and below 100 %%")
			} else {
				*share = x
			}
		}
	}
	o.Done("resource")
}

// code reads how code is written, with what is said of where it runs left to run.
func (r *graphReader) code(v source.Value, style blocks.Style, run func(source.Value)) blocks.Style {
	o := v.Object("code")
	pick := func(key, first, second string, now bool) bool {
		kv := o.Take(key)
		if !kv.Given() {
			return now
		}
		switch text := kv.Text(first + " or " + second); text {
		case first:
			return false
		case second:
			return true
		default:
			if kv.IsText() {
				kv.Fail(source.DidYouMean(text, []string{first, second}), "expected %s or %s, found '%s'", first, second, text)
			}
			return now
		}
	}
	style.PerSample = pick("calls", "block", "sample", style.PerSample)
	style.SizeOptimised = pick("optimise", "O2", "Os", style.SizeOptimised)
	if pick("maths", "library", "approximate", style.Maths == blocks.ApproximateMaths) {
		style.Maths = blocks.ApproximateMaths
	} else {
		style.Maths = blocks.LibraryMaths
	}
	run(o.Take("run"))
	o.Done("key")
	return style
}

// run reads which of the board's layouts the graph takes.
func (r *graphReader) run(v source.Value) {
	board := r.g.Board
	name := v.Text("the name of a bank")
	if board == nil || !v.IsText() {
		return
	}
	for _, l := range board.Layouts {
		if board.Banks[l.Bank].Name == name {
			r.g.Run = l.Bank
			return
		}
	}
	names := board.LayoutNames()
	hint := "it runs from " + strings.Join(names, ", ")
	if nearest := source.DidYouMean(name, names); nearest != "" {
		hint = nearest + " " + hint
	}
	v.Fail(hint, "code of %s does not run from '%s'", board.Name, name)
}

// symbols reads whose the symbols of the built program are. Whether the owners
// are nodes is not asked here: a graph from which nodes were taken stays one.
func (r *graphReader) symbols(v source.Value) {
	for _, m := range v.Object("symbols").Rest() {
		for _, pattern := range m.Value.OneOrMore() {
			text := pattern.Text("the name of a symbol, in which * stands for anything")
			if _, err := path.Match(text, ""); err != nil {
				pattern.Fail("write 'echo_*'", "'%s' is no pattern of names", text)
			}
			r.g.Symbols = append(r.g.Symbols, SymbolPattern{Place: m.Key, Owner: m.Name, Pattern: text})
		}
	}
}

// regions reads which banks the regions of a linker script are. Whether the board
// has them is not asked here: a graph may be asked about on another board.
func (r *graphReader) regions(v source.Value) {
	for _, m := range v.Object("regions").Rest() {
		r.g.Regions = append(r.g.Regions, ScriptRegion{Place: m.Value, Name: m.Name, Bank: m.Value.Text("the name of a bank")})
	}
}
