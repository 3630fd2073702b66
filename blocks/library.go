package blocks

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
)

// Library finds blocks, boards, codecs and cores by name. Each is read when it is
// first asked for, and once. It is safe for use by several goroutines.
type Library struct {
	blocks  shelf[*Block]
	boards  shelf[*Board]
	codecs  shelf[*Codec]
	cores   shelf[*Core]
	hearing func() (*Hearing, error)
	// measured is what was measured, in the order in which it was added.
	measured []*Measurements

	mu     sync.Mutex
	joined map[*Block]bool // composed blocks whose parts are found
}

type shelf[T any] struct{ load map[string]func() (T, error) }

func (s *shelf[T]) define(kind, name string, load func() (T, error)) error {
	if _, twice := s.load[name]; twice {
		return fmt.Errorf("there is a %s named '%s' already", kind, name)
	}
	if s.load == nil {
		s.load = map[string]func() (T, error){}
	}
	s.load[name] = sync.OnceValues(load)
	return nil
}

func (s *shelf[T]) names() []string {
	names := make([]string, 0, len(s.load))
	for name := range s.load {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

// UnknownError tells that a library has no such thing.
type UnknownError struct{ Kind, Name string }

func (e *UnknownError) Error() string {
	return fmt.Sprintf("there is no %s named '%s'", e.Kind, e.Name)
}

func (s *shelf[T]) get(kind, name string) (T, error) {
	load, ok := s.load[name]
	if !ok {
		var none T
		return none, &UnknownError{kind, name}
	}
	return load()
}

// DefineBlock adds a block that load reads. A second of the same name is an
// error.
func (l *Library) DefineBlock(name string, load func() (*Block, error)) error {
	return l.blocks.define("block", name, load)
}

// DefineBoard adds a board that load reads.
func (l *Library) DefineBoard(name string, load func() (*Board, error)) error {
	return l.boards.define("board", name, load)
}

// DefineCodec adds a converter chip that load reads.
func (l *Library) DefineCodec(name string, load func() (*Codec, error)) error {
	return l.codecs.define("codec", name, load)
}

// DefineCore adds a core that load reads.
func (l *Library) DefineCore(name string, load func() (*Core, error)) error {
	return l.cores.define("core", name, load)
}

// DefineHearing sets how metrics become loss.
func (l *Library) DefineHearing(load func() (*Hearing, error)) {
	l.hearing = sync.OnceValues(load)
}

// Block finds a block, with the blocks it is composed of. An unknown name is
// an *UnknownError.
func (l *Library) Block(name string) (*Block, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.block(name, nil)
}

func (l *Library) block(name string, within []string) (*Block, error) {
	b, err := l.blocks.get("block", name)
	if err != nil || l.joined[b] {
		return b, err
	}
	within = append(within, name)
	for i := range b.Parts {
		p := &b.Parts[i]
		if slices.Contains(within, p.Block) {
			return nil, fmt.Errorf("the block is made of itself: %s", chain(append(within, p.Block)))
		}
		part, err := l.block(p.Block, within)
		if err != nil {
			return nil, fmt.Errorf("part '%s' of %s: %w", p.Name, name, err)
		}
		if err := p.join(part); err != nil {
			return nil, fmt.Errorf("part '%s' of %s: %w", p.Name, name, err)
		}
	}
	if l.joined == nil {
		l.joined = map[*Block]bool{}
	}
	l.joined[b] = true
	return b, nil
}

// Prepare begins to read blocks while the caller goes on, the last named first,
// so that the two meet half way. Unknown names are passed over.
func (l *Library) Prepare(names []string) {
	var loads []func() (*Block, error)
	for _, name := range names {
		if load, ok := l.blocks.load[name]; ok {
			loads = append(loads, load)
		}
	}
	go func() {
		for _, load := range slices.Backward(loads) {
			load() // whoever asks for the block is told what is wrong
		}
	}()
}

func chain(names []string) string {
	text := names[0]
	for _, n := range names[1:] {
		text += " > " + n
	}
	return text
}

// Board finds a board by name.
func (l *Library) Board(name string) (*Board, error) { return l.boards.get("board", name) }

// IsBoardFile tells whether a board is named by the path of its file.
func IsBoardFile(name string) bool {
	return strings.ContainsAny(name, `/\`) || strings.HasSuffix(name, ".yaml")
}

// BoardOrChip finds a board by its name, or by the marking of a chip that it lists.
func (l *Library) BoardOrChip(name string) (*Board, error) {
	b, err := l.Board(name)
	var unknown *UnknownError
	if !errors.As(err, &unknown) {
		return b, err
	}
	if boards, _ := l.BoardsOfChip(name); len(boards) > 0 {
		return boards[0], nil
	}
	return nil, err
}

// BoardsOfChip finds the board classes that list a chip: a marking that begins
// with what the class lists, in any case. Where several do, the longest first.
func (l *Library) BoardsOfChip(marking string) ([]*Board, error) {
	type match struct {
		board  *Board
		length int
	}
	var found []match
	for _, name := range l.BoardNames() {
		b, err := l.Board(name)
		if err != nil {
			return nil, err
		}
		longest := 0
		for _, c := range b.Chips {
			if len(c.Marking) > longest && len(marking) >= len(c.Marking) && strings.EqualFold(marking[:len(c.Marking)], c.Marking) {
				longest = len(c.Marking)
			}
		}
		if longest > 0 {
			found = append(found, match{b, longest})
		}
	}
	slices.SortStableFunc(found, func(a, b match) int { return b.length - a.length })
	boards := make([]*Board, len(found))
	for i, m := range found {
		boards[i] = m.board
	}
	return boards, nil
}

// Codec finds a converter chip by name.
func (l *Library) Codec(name string) (*Codec, error) { return l.codecs.get("codec", name) }

// Core finds a core by name.
func (l *Library) Core(name string) (*Core, error) { return l.cores.get("core", name) }

// Hearing is how metrics become loss.
func (l *Library) Hearing() (*Hearing, error) {
	if l.hearing == nil {
		return &Hearing{}, nil
	}
	return l.hearing()
}

// AddMeasured adds what was measured on a board. Of two that tell the same the
// later counts.
func (l *Library) AddMeasured(m *Measurements) { l.measured = append(l.measured, m) }

// MeasuredOn is what was measured on a board, the earliest first, and the names
// of other boards that something was measured on.
func (l *Library) MeasuredOn(board string) (here []*Measurements, elsewhere []string) {
	for _, m := range l.measured {
		if m.Board == board {
			here = append(here, m)
		} else if !slices.Contains(elsewhere, m.Board) {
			elsewhere = append(elsewhere, m.Board)
		}
	}
	return here, elsewhere
}

// BlockNames are the names of all blocks, sorted.
func (l *Library) BlockNames() []string { return l.blocks.names() }

// BoardNames are the names of all boards, sorted.
func (l *Library) BoardNames() []string { return l.boards.names() }

// CodecNames are the names of all converter chips, sorted.
func (l *Library) CodecNames() []string { return l.codecs.names() }

// CoreNames are the names of all cores, sorted.
func (l *Library) CoreNames() []string { return l.cores.names() }
