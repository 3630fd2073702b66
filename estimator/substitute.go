package estimator

import (
	"fmt"
	"maps"
	"math"
	"math/big"
	"slices"
	"strconv"
	"strings"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
)

// substitution is a stand-in for a node as changes of the file.
type substitution struct {
	g     *Graph
	node  int
	old   *Node
	block *blocks.Block // of the stand-in
	edits []source.Edit
}

// substitute works out the changes that put a stand-in in the place of a node.
// It is false where that cannot be: an output that is used is missing, or a
// parameter that something moves has no counterpart. Whether the values suit
// the stand-in is for the reader to say.
func (g *Graph) substitute(i int, sub *blocks.Substitute) ([]source.Edit, bool, error) {
	s := &substitution{g: g, node: i, old: g.Nodes[i], block: g.Nodes[i].Block()}
	if sub.Block != "" {
		b, err := g.library.Block(sub.Block)
		if err != nil {
			return nil, false, fmt.Errorf("substitute of %s: %w", s.block.Name, err)
		}
		s.block = b
		s.write(b.Name, "block")
		if !s.carry(sub) || !s.rewire() || !s.rename() {
			return nil, false, nil
		}
		s.drop()
	}
	return s.edits, s.set(sub) && s.scale(sub), nil
}

func (s *substitution) write(text string, key ...string) {
	s.edits = append(s.edits, source.Edit{Path: s.g.Path(s.old, key...), Text: text})
}

func (s *substitution) remove(key ...string) {
	s.edits = append(s.edits, source.Edit{Path: s.g.Path(s.old, key...), Remove: true})
}

func (s *substitution) call(name string, key ...string) {
	s.edits = append(s.edits, source.Edit{Path: s.g.Path(s.old, key...), Key: name})
}

// written is what stands in the file under a key of the node.
func (s *substitution) written(key ...string) source.Value { return s.g.at(s.g.Path(s.old, key...)) }

// carry hands over the parameters that the stand-in takes, each under its own
// name, and takes out the others.
func (s *substitution) carry(sub *blocks.Substitute) bool {
	carried := map[string]string{} // ours: theirs
	again := map[string]string{}   // theirs: text
	for _, theirs := range slices.Sorted(maps.Keys(sub.Carry)) {
		ours := sub.Carry[theirs]
		from, known := s.old.Block().Param(ours)
		to, exists := s.block.Param(theirs)
		if !known || !exists {
			return false
		}
		v := s.written(ours)
		_, twice := carried[ours]
		switch {
		case v.Given() && !twice:
			carried[ours] = theirs
		case v.IsMapping():
			return false // one knob, and it would have to move two parameters
		case v.Given():
			again[theirs] = v.Text("")
		case from.DefaultText != to.DefaultText:
			again[theirs] = from.DefaultText
		}
	}
	for _, p := range s.old.Block().ParamNames() {
		v := s.written(p)
		_, replaced := sub.Set[p]
		switch _, kept := carried[p]; {
		case kept || !v.Given():
		case v.IsMapping():
			return false
		case !replaced:
			s.remove(p)
		}
	}
	for _, ours := range slices.Sorted(maps.Keys(carried)) {
		if theirs := carried[ours]; theirs != ours {
			s.call(theirs, ours)
		}
	}
	for _, theirs := range slices.Sorted(maps.Keys(again)) {
		s.write(again[theirs], theirs)
	}
	return true
}

// rewire ties the node's inputs to those of the stand-in: inputs of the same
// name, or the main one to the main one.
func (s *substitution) rewire() bool {
	from := s.written("from")
	if !from.Given() {
		return true
	}
	inputs := s.old.Block().Inputs
	if !from.IsMapping() {
		to := counterpart(s.block.Inputs, inputs, 0)
		return to == 0
	}
	taken := map[int]bool{}
	for i, in := range inputs {
		if !from.Under(in.Name).Given() {
			continue
		}
		to := counterpart(s.block.Inputs, inputs, i)
		if to < 0 || taken[to] {
			return false
		}
		taken[to] = true
		if name := s.block.Inputs[to].Name; name != in.Name {
			s.call(name, "from", in.Name)
		}
	}
	return true
}

// rename lets everything that reads the node name the outputs of the stand-in.
func (s *substitution) rename() bool {
	outputs := s.old.Block().Outputs
	for _, reader := range s.g.Nodes {
		fits := true
		reader.eachSource(func(src Source, drive bool) {
			if src.Node != s.node {
				return
			}
			to := counterpart(s.block.Outputs, outputs, src.Port)
			// Control in place of audio may move others, and is not to be heard.
			if to < 0 || src.Group >= 0 && to != 0 || !drive && s.block.Outputs[to].Kind != outputs[src.Port].Kind {
				fits = false
				return
			}
			text := src.Place.Text("")
			node, rest, _ := strings.Cut(text, ".")
			port, channel, _ := strings.Cut(rest, ".")
			if port != outputs[src.Port].Name {
				port, channel = "", rest // the main output, which no name says
			}
			if name := s.block.Outputs[to].Name; port != "" || to != 0 {
				port = name
			}
			words := slices.DeleteFunc([]string{node, port, channel}, func(w string) bool { return w == "" })
			if renamed := strings.Join(words, "."); renamed != text {
				s.edits = append(s.edits, source.Edit{Path: s.g.root.PathTo(src.Place), Text: renamed})
			}
		})
		if !fits {
			return false
		}
	}
	return true
}

// counterpart finds the port that stands in for one of some others: of the same
// kind, or control for audio; and of the same name or the main one for the main
// one. -1: there is none.
func counterpart(ports, others []blocks.Port, index int) int {
	to := slices.IndexFunc(ports, func(p blocks.Port) bool { return p.Name == others[index].Name })
	if to < 0 && index == 0 && len(ports) > 0 {
		to = 0
	}
	if to < 0 || ports[to].Kind == others[index].Kind || ports[to].Kind == blocks.Control && others[index].Kind == blocks.Audio {
		return to
	}
	return -1
}

// drop takes out what only the node before could have: channels, and banks of
// its buffers.
func (s *substitution) drop() {
	if s.written("channels").Given() && !takesChannels(s.block) {
		s.remove("channels")
	}
	var gone []string
	for _, buffer := range slices.Sorted(maps.Keys(s.old.Pins)) {
		if !slices.ContainsFunc(s.block.Buffers, func(b blocks.Buffer) bool { return b.Name == buffer }) {
			gone = append(gone, buffer)
		}
	}
	if len(gone) > 0 && len(gone) == len(s.old.Pins) {
		s.remove("bank")
		return
	}
	for _, buffer := range gone {
		s.remove("bank", buffer)
	}
}

// set writes the parameters that the substitute gives outright.
func (s *substitution) set(sub *blocks.Substitute) bool {
	for _, name := range slices.Sorted(maps.Keys(sub.Set)) {
		if s.written(name).IsMapping() {
			return false // what moves it would be lost
		}
		s.write(sub.Set[name], name)
	}
	return true
}

// scale multiplies parameters by the factors that the substitute gives.
func (s *substitution) scale(sub *blocks.Substitute) bool {
	for _, name := range slices.Sorted(maps.Keys(sub.Scale)) {
		ours := name
		if sub.Block != "" {
			ours = sub.Carry[name]
		}
		i := s.old.Block().ParamIndex(ours)
		if i < 0 {
			return false
		}
		text, ok := scaled(&s.old.Block().Params[i], s.old.Use.Settings[i].Span, s.old.Given[ours], sub.Scale[name])
		if !ok {
			return false
		}
		if s.written(ours).IsMapping() {
			s.write(text, name, "span")
		} else {
			s.write(text, name)
		}
	}
	return true
}

// scaled is a span times a factor, as a file writes it: in the units that it is
// written in. A note value stays one: 3/8 by a half is 3/16. It is false where
// nothing changes.
func scaled(p *blocks.Param, span blocks.Span, given string, factor float64) (text string, ok bool) {
	switch {
	case p.Unit == blocks.UnitCount:
		product := blocks.Span{Low: math.Floor(span.Low * factor), High: math.Floor(span.High * factor)}
		return p.Unit.FormatSpan(product), product != span
	case strings.Contains(given, "/"):
		return scaleNotes(given, factor), true
	case given == "":
		given = p.Unit.FormatSpan(span)
	}
	text = number().ReplaceAllStringFunc(given, func(value string) string {
		v, err := strconv.ParseFloat(value, 64)
		if err != nil {
			return value // too large, which the reader has refused
		}
		return strconv.FormatFloat(fourFigures(v*factor), 'f', -1, 64)
	})
	return text, text != given
}

// number is an amount before its unit.
var number = source.Lazily(`\d+(\.\d+)?`)

// noteValue is a share of a whole note, as it was read.
var noteValue = source.Lazily(`\d+\s*/\s*\d+`)

// scaleNotes multiplies the note values in a text by a factor of few twelfths.
func scaleNotes(text string, factor float64) string {
	return noteValue().ReplaceAllStringFunc(text, func(value string) string {
		note, ok := new(big.Rat).SetString(strings.ReplaceAll(value, " ", ""))
		if !ok {
			return value // of no length, which the reader has refused
		}
		note.Mul(note, big.NewRat(int64(math.Round(factor*12)), 12))
		return note.String()
	})
}

// fourFigures rounds a value to what a person writes.
func fourFigures(x float64) float64 {
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 4, 64), 64)
	if err != nil {
		return x // not a number; the range check that follows refuses it
	}
	return rounded
}
