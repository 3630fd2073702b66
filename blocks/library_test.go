package blocks

import (
	"errors"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
)

// shelve adds blocks to a library.
func shelve(t *testing.T, blocks ...*Block) *Library {
	t.Helper()
	lib := &Library{}
	for _, b := range blocks {
		if err := lib.DefineBlock(b.Name, func() (*Block, error) { return b, nil }); err != nil {
			t.Fatalf("the block %s cannot be added: %v", b.Name, err)
		}
	}
	return lib
}

func TestLibraryFindsNames(t *testing.T) {
	lib := shelve(t, &Block{Name: "wind"}, &Block{Name: "rain"})
	board := func() (*Board, error) { return &Board{Name: "cart"}, nil }
	core := func() (*Core, error) { return &Core{Name: "mill"}, nil }
	if err := errors.Join(lib.DefineBoard("cart", board), lib.DefineCore("mill", core)); err != nil {
		t.Fatalf("a board and a core cannot be added: %v", err)
	}
	if b, err := lib.Block("wind"); err != nil || b.Name != "wind" {
		t.Errorf("the block 'wind' is not found: %v", err)
	}
	if b, err := lib.Board("cart"); err != nil || b.Name != "cart" {
		t.Errorf("the board 'cart' is not found: %v", err)
	}
	if c, err := lib.Core("mill"); err != nil || c.Name != "mill" {
		t.Errorf("the core 'mill' is not found: %v", err)
	}
	for _, tt := range []struct{ got, want []string }{
		{lib.BlockNames(), []string{"rain", "wind"}}, {lib.BoardNames(), []string{"cart"}}, {lib.CoreNames(), []string{"mill"}},
	} {
		if !slices.Equal(tt.got, tt.want) {
			t.Errorf("the names are %v, want %v, sorted", tt.got, tt.want)
		}
	}
}

func TestLibraryTellsWhatIsUnknown(t *testing.T) {
	lib := &Library{}
	_, block := lib.Block("howl")
	_, board := lib.Board("cart")
	_, core := lib.Core("mill")
	for _, tt := range []struct {
		err  error
		kind string
		want string
	}{
		{block, "block", "there is no block named 'howl'"},
		{board, "board", "there is no board named 'cart'"},
		{core, "core", "there is no core named 'mill'"},
	} {
		var unknown *UnknownError
		if !errors.As(tt.err, &unknown) || unknown.Kind != tt.kind || tt.err.Error() != tt.want {
			t.Errorf("asking for a %s gives '%v', want '%s'", tt.kind, tt.err, tt.want)
		}
	}
}

func TestLibraryRefusesASecondOfAName(t *testing.T) {
	lib := shelve(t, &Block{Name: "wind"})
	err := lib.DefineBlock("wind", func() (*Block, error) { return nil, nil })
	if err == nil || err.Error() != "there is a block named 'wind' already" {
		t.Errorf("a second block 'wind' gives '%v', want a refusal that names it", err)
	}
}

// Nothing is read before it is asked for, and nothing twice, not even what
// failed, nor when several ask at once.
func TestLibraryReadsOnce(t *testing.T) {
	reads := 0
	lib := &Library{}
	if err := lib.DefineBlock("wind", func() (*Block, error) { reads++; return &Block{Name: "wind"}, nil }); err != nil {
		t.Fatal(err)
	}
	torn := errors.New("the page is torn")
	if err := lib.DefineBlock("rain", func() (*Block, error) { reads++; return nil, torn }); err != nil {
		t.Fatal(err)
	}
	if reads != 0 || len(lib.BlockNames()) != 2 {
		t.Errorf("%d of %d blocks were read before any was asked for", reads, len(lib.BlockNames()))
	}
	var wait sync.WaitGroup
	for range 8 {
		wait.Go(func() {
			if b, err := lib.Block("wind"); err != nil || b.Name != "wind" {
				t.Errorf("the block 'wind' is not found: %v", err)
			}
			if _, err := lib.Block("rain"); !errors.Is(err, torn) {
				t.Errorf("the torn block gives '%v', want what its reader said", err)
			}
		})
	}
	wait.Wait()
	if reads != 2 {
		t.Errorf("two blocks were read %d times", reads)
	}
}

func TestLibraryHearing(t *testing.T) {
	lib := &Library{}
	if h, err := lib.Hearing(); err != nil || len(h.Metrics) != 0 {
		t.Errorf("a library without hearing judges %d metrics (%v), want none", len(h.Metrics), err)
	}
	reads := 0
	lib.DefineHearing(func() (*Hearing, error) { reads++; return &Hearing{Metrics: []Metric{{Name: "slope"}}}, nil })
	for range 2 {
		if h, err := lib.Hearing(); err != nil || len(h.Metrics) != 1 {
			t.Errorf("the hearing cannot be read: %v", err)
		}
	}
	if reads != 1 {
		t.Errorf("the hearing was read %d times, want once", reads)
	}
}

// A part must exist, fit the block that it is made of, and not be the block
// itself, however far down.
func TestLibraryRefusesParts(t *testing.T) {
	plain := lantern(t)
	needy := &Block{Name: "needy", Params: []Param{{Name: "time", Unit: UnitTime, Needed: true}}}
	if _, err := needy.DefineScope(nil); err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		name string
		part Part
		want string
	}{
		{"a part that there is not", Part{Name: "lamp", Block: "torch"}, "part 'lamp' of cart: there is no block named 'torch'"},
		{"itself", Part{Name: "again", Block: "cart"}, "the block is made of itself: cart > cart"},
		{"a number that the part does not have", Part{Name: "lamp", Block: "lantern", Set: map[string]*Formula{"wick": nil}}, "lantern has no numeric parameter 'wick'"},
		{"a formula for a choice", Part{Name: "lamp", Block: "lantern", Set: map[string]*Formula{"glass": nil}}, "lantern has no numeric parameter 'glass'"},
		{"a choice for a number", Part{Name: "lamp", Block: "lantern", Pick: map[string]string{"time": "red"}}, "lantern has no parameter 'time' that is a choice"},
		{"a choice that there is not", Part{Name: "lamp", Block: "lantern", Pick: map[string]string{"glass": "green"}}, "lantern has no glass 'green'"},
		{"a number left out that must be given", Part{Name: "lamp", Block: "needy"}, "needy needs 'time'"},
	} {
		lib := shelve(t, plain, needy, &Block{Name: "cart", Parts: []Part{tt.part}})
		if _, err := lib.Block("cart"); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s gives '%v', want '%s'", tt.name, err, tt.want)
		}
	}
	round := shelve(t, &Block{Name: "day", Parts: []Part{{Name: "a", Block: "night"}}}, &Block{Name: "night", Parts: []Part{{Name: "b", Block: "day"}}})
	if _, err := round.Block("day"); err == nil || !strings.Contains(err.Error(), "day > night > day") {
		t.Errorf("two blocks made of one another give '%v', want the way round", err)
	}
	good := shelve(t, plain, &Block{Name: "cart", Parts: []Part{{Name: "lamp", Block: "lantern", Pick: map[string]string{"glass": "clear"}}}})
	if b, err := good.Block("cart"); err != nil || b.Parts[0].block != plain {
		t.Errorf("a sound part gives '%v', want it tied to its block", err)
	}
}

// Prepare reads what is known, once, and what is asked for meanwhile is the
// same block.
func TestPrepare(t *testing.T) {
	var lib Library
	var reads atomic.Int32
	for _, name := range []string{"wind", "rain"} {
		if err := lib.DefineBlock(name, func() (*Block, error) {
			reads.Add(1)
			return &Block{Name: name}, nil
		}); err != nil {
			t.Fatal(err)
		}
	}
	lib.Prepare([]string{"wind", "hail", "rain"})
	for _, name := range []string{"wind", "rain"} {
		if b, err := lib.Block(name); err != nil || b.Name != name {
			t.Errorf("after Prepare '%s' gives %v (%v), want the block", name, b, err)
		}
	}
	if n := reads.Load(); n != 2 {
		t.Errorf("two blocks were read %d times, want each once", n)
	}
}

// A word of the trade finds the blocks that it stands for.
func TestMeant(t *testing.T) {
	lib := &Library{}
	for _, b := range []*Block{
		{Name: "gain", Family: "mix", Role: "gain", Called: []string{"vca", "volume"}},
		{Name: "step-sequence", Family: "control", Role: "step-sequence"},
		{Name: "plate-reverb", Family: "reverb", Role: "reverb"},
		{Name: "spring-reverb", Family: "reverb", Role: "reverb"},
	} {
		if err := lib.DefineBlock(b.Name, func() (*Block, error) { return b, nil }); err != nil {
			t.Fatal(err)
		}
	}
	for _, tt := range []struct {
		word string
		want []string
		hint string
	}{
		{"VCA", []string{"gain"}, "did you mean 'gain'?"},
		{"sequencer", []string{"step-sequence"}, "did you mean 'step-sequence'?"},
		{"reverb", []string{"plate-reverb", "spring-reverb"}, "did you mean 'plate-reverb' or 'spring-reverb'?"},
		{"plate_reverb", nil, "did you mean 'plate-reverb'?"},
		{"owncode", nil, "did you mean 'own-code'?"},
		{"step", []string{"step-sequence"}, "did you mean 'step-sequence'?"},
		{"se", nil, "'elbowroom blocks' lists them"},
	} {
		if got := lib.Meant(tt.word); !slices.Equal(got, tt.want) {
			t.Errorf("'%s' finds %v, want %v", tt.word, got, tt.want)
		}
		if got := lib.BlockHint(tt.word, "own-code"); got != tt.hint {
			t.Errorf("the hint for '%s' is \"%s\", want \"%s\"", tt.word, got, tt.hint)
		}
	}
}
