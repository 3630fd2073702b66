package estimator_test

import (
	"strings"
	"testing"

	"elbowroom/blocks/source"
	"elbowroom/estimator"
)

// troupe is a graph with all that can name a node: inputs, channels, moved
// parameters, voices and what they give out, scenes and symbols.
const troupe = `board: m7-480-sdram
sample_rate: 48 kHz
block_size: 48
nodes:
  crank: {block: knob}
  bell:  {block: gate-in}     # on the rail
  wind:  {block: noise}
  rain:  {block: noise}
  howl:
    block: state-variable
    from:
      - wind   # the left wing
      - rain
    cutoff: {from: crank, span: 200 Hz..4 kHz}
  out:   {block: audio-out, from: [howl, crowd]}
voices:
  crowd:
    count: 3
    nodes:
      hum:   {block: noise}
      swell: {block: adsr, from: {gate: bell}}
      hush:  {block: gain, from: rain}
      amp:   {block: gain, from: hum, gain: {from: swell, span: 0..1}}
    out: amp
scenes: {storm: [wind, howl], calm: [rain]}
symbols: {wind: wind_*, crowd.amp: amp_*}
`

// crowd are the voices of the troupe.
var crowd = troupe[strings.Index(troupe, "voices:"):strings.Index(troupe, "scenes:")]

func readTroupe(t *testing.T, text string) (*source.File, *estimator.Graph) {
	t.Helper()
	g, errs := read(t, source.NewFile("troupe.yaml", []byte(text)))
	if g == nil {
		t.Fatalf("the graph of the test is wrong: %v", errs.Err())
	}
	return g.File, g
}

// written makes edits in the file and holds them to what With makes of them.
func written(t *testing.T, file *source.File, g *estimator.Graph, edits []source.Edit) string {
	t.Helper()
	after, err := g.With(edits...)
	if err != nil {
		t.Fatalf("the changes are refused: %v", err)
	}
	changed, err := file.Edit(edits...)
	if err != nil {
		t.Fatalf("the changes cannot be written: %v", err)
	}
	_, again := readTroupe(t, changed.Text())
	was, err := after.Estimate()
	if err != nil {
		t.Fatal(err)
	}
	is, err := again.Estimate()
	if err != nil {
		t.Fatal(err)
	}
	if figures(was) != figures(is) {
		t.Errorf("the changed file gives\n%s\nwant what the changed graph gives:\n%s", figures(is), figures(was))
	}
	return changed.Text()
}

func TestDraft(t *testing.T) {
	node := func(g *estimator.Graph, name string) int {
		i := g.Node(name)
		if i < 0 {
			t.Fatalf("the graph of the test has no node '%s'", name)
		}
		return i
	}
	rename := func(name, to string) func(*estimator.Graph) ([]source.Edit, error) {
		return func(g *estimator.Graph) ([]source.Edit, error) {
			after, err := g.Rename(node(g, name), to)
			if err != nil {
				return nil, err
			}
			return after.Edits, nil
		}
	}
	add := func(name, block string, feeds ...estimator.Feed) func(*estimator.Graph) ([]source.Edit, error) {
		return func(g *estimator.Graph) ([]source.Edit, error) { return g.Add(-1, name, block, feeds, nil) }
	}
	wire := func(name, to, from string) func(*estimator.Graph) ([]source.Edit, error) {
		return func(g *estimator.Graph) ([]source.Edit, error) {
			return g.Wire(node(g, name), estimator.Feed{To: to, From: from})
		}
	}
	unwire := func(name, to, from string) func(*estimator.Graph) ([]source.Edit, error) {
		return func(g *estimator.Graph) ([]source.Edit, error) {
			return g.Unwire(node(g, name), estimator.Feed{To: to, From: from})
		}
	}
	addTo := func(name, block string, feeds ...estimator.Feed) func(*estimator.Graph) ([]source.Edit, error) {
		return func(g *estimator.Graph) ([]source.Edit, error) { return g.Add(0, name, block, feeds, nil) }
	}
	voices := func(group, count, name, block string, feeds ...estimator.Feed) func(*estimator.Graph) ([]source.Edit, error) {
		return func(g *estimator.Graph) ([]source.Edit, error) {
			return g.AddVoices(group, count, name, block, feeds, nil)
		}
	}
	renameVoices := func(to string) func(*estimator.Graph) ([]source.Edit, error) {
		return func(g *estimator.Graph) ([]source.Edit, error) {
			after, err := g.RenameVoices(0, to)
			if err != nil {
				return nil, err
			}
			return after.Edits, nil
		}
	}
	takeOutVoices := func(g *estimator.Graph) ([]source.Edit, error) { return g.TakeOutVoices(0) }
	giveOut := func(name string) func(*estimator.Graph) ([]source.Edit, error) {
		return func(g *estimator.Graph) ([]source.Edit, error) { return g.GiveOut(node(g, name)) }
	}
	putOn := func(cues ...estimator.Cue) func(*estimator.Graph) ([]source.Edit, error) {
		return func(g *estimator.Graph) ([]source.Edit, error) { return g.PutOn(cues...) }
	}
	putOff := func(scene, name string) func(*estimator.Graph) ([]source.Edit, error) {
		return func(g *estimator.Graph) ([]source.Edit, error) {
			return g.PutOff(estimator.Cue{Scene: scene, Name: name})
		}
	}
	renameScene := func(old, name string) func(*estimator.Graph) ([]source.Edit, error) {
		return func(g *estimator.Graph) ([]source.Edit, error) { return g.RenameScene(old, name) }
	}
	takeOut := func(name string) func(*estimator.Graph) ([]source.Edit, error) {
		return func(g *estimator.Graph) ([]source.Edit, error) { return g.TakeOut(node(g, name)) }
	}
	tests := []struct {
		name    string
		of      []string // what of the troupe is different, in pairs
		change  func(*estimator.Graph) ([]source.Edit, error)
		replace []string // of the text, in pairs
		refused string
	}{
		{name: "add a source", change: add("hail", "noise"), replace: []string{"crowd]}\n", "crowd]}\n  hail: {block: noise}\n"}},
		{name: "add what has no such input", change: add("tail", "noise", estimator.Feed{To: "in", From: "howl"}), refused: "noise has no input 'in'"},
		{name: "add a gain", change: add("tail", "gain", estimator.Feed{To: "in", From: "howl"}), replace: []string{"crowd]}\n", "crowd]}\n  tail: {block: gain, from: howl}\n"}},
		{name: "add by a further input", change: add("fade", "adsr", estimator.Feed{To: "gate", From: "bell"}), replace: []string{"crowd]}\n", "crowd]}\n  fade: {block: adsr, from: bell}\n"}},
		{name: "add what nothing feeds", change: add("tail", "gain"), refused: "nothing feeds the input 'in' of 'tail'"},
		{name: "add a name that is taken", change: add("wind", "noise"), refused: "there is a node named 'wind' already"},
		{name: "add a name of a group", change: add("crowd", "noise"), refused: "there is a group named 'crowd' already"},
		{name: "add no name", change: add("", "noise"), refused: `"" cannot be the name of a node`},
		{name: "add a name that is YAML", change: add("x: {block: noise}\n  y", "noise"), refused: "cannot be the name of a node"},
		{name: "add a name that is a tag", change: add("!!null", "noise"), refused: "cannot be the name of a node"},
		{name: "add a name with a dot", change: add("crowd.hum", "noise"), refused: "cannot be the name of a node"},
		{name: "add a name that reads as nothing", change: add("null", "noise"), replace: []string{"crowd]}\n", "crowd]}\n  \"null\": {block: noise}\n"}},
		{name: "add a block that is not there", change: add("x", "../../noise"), refused: "'../../noise'"},
		{name: "add fed by YAML", change: add("tail", "gain", estimator.Feed{To: "in", From: "howl, gain: 2}\n#"}), refused: "there is no node"},

		{name: "rename in a list and in scenes", change: rename("wind", "gale"), replace: []string{"wind:  {", "gale:  {", "- wind ", "- gale ", "[wind, howl]", "[gale, howl]", "{wind: wind_*", "{gale: wind_*"}},
		{name: "rename a mover", change: rename("crank", "wheel"), replace: []string{"crank: {b", "wheel: {b", "from: crank", "from: wheel"}},
		{name: "rename what voices use", change: rename("bell", "gong"), replace: []string{"bell: ", "gong: ", "gate: bell", "gate: gong"}},
		{name: "rename what voices give out", change: rename("crowd.amp", "level"), replace: []string{"      amp: ", "      level: ", "out: amp", "out: level", "crowd.amp:", "crowd.level:"}},
		{name: "rename to its own name", change: rename("wind", "wind"), refused: "there is a node named 'wind' already"},
		{name: "rename so that an inner name hides it", change: rename("rain", "hum"), refused: "choose another name"},
		{name: "rename to hostile text", change: rename("wind", "a}\nb: {"), refused: "cannot be the name of a node"},
		{name: "rename to two letters of another script", change: rename("wind", "風"), refused: "cannot be the name of a node"},

		{name: "wire beside another in block style", change: wire("howl", "in", "crowd"), replace: []string{"      - rain\n", "      - rain\n      - crowd\n"}},
		{name: "wire beside another in flow style", change: wire("out", "in", "rain"), replace: []string{"[howl, crowd]", "[howl, crowd, rain]"}},
		{name: "wire within voices", change: wire("crowd.amp", "in", "wind"), replace: []string{"from: hum,", "from: [hum, wind],"}},
		{name: "wire a parameter", change: wire("howl", "q", "crank"), replace: []string{"4 kHz}\n", "4 kHz}\n    q: {from: crank, span: 0.5..1.414}\n"}},
		{name: "wire a parameter whose range holds nothing", change: wire("crowd.hush", "gain", "crank"), replace: []string{"from: rain}", "from: rain, gain: {from: crank, span: 0..1}}"}},
		{name: "wire a parameter over a span", change: func(g *estimator.Graph) ([]source.Edit, error) {
			return g.Wire(node(g, "howl"), estimator.Feed{To: "q", From: "crank", Span: "1..4"})
		}, replace: []string{"4 kHz}\n", "4 kHz}\n    q: {from: crank, span: 1..4}\n"}},
		{name: "wire a parameter over no span", change: func(g *estimator.Graph) ([]source.Edit, error) {
			return g.Wire(node(g, "howl"), estimator.Feed{To: "q", From: "crank", Span: "1..4000"})
		}, refused: "4000"},
		{name: "wire audio to an event", change: wire("crowd.swell", "gate", "wind"), refused: "cannot feed an event input"},
		{name: "wire what feeds already", change: wire("out", "in", "howl"), refused: "feeds this input already"},
		{name: "wire to what is not there", change: wire("out", "inn", "howl"), refused: "'out' has no input 'inn'"},
		{name: "wire itself", change: wire("howl", "in", "howl"), refused: "feeds itself"},

		{name: "unwire one of several", change: unwire("howl", "in", "rain"), replace: []string{"      - rain\n", ""}},
		{name: "unwire a parameter", change: unwire("howl", "cutoff", "crank"), replace: []string{"    cutoff: {from: crank, span: 200 Hz..4 kHz}", "    cutoff: 2100 Hz"}},
		{name: "unwire what is needed", change: unwire("crowd.amp", "in", "hum"), refused: "nothing feeds the input 'in' of 'crowd.amp'"},
		{name: "unwire what is not there", change: unwire("out", "in", "rain"), refused: "there is no wire from 'rain' to 'in' of 'out'"},

		{name: "add to voices", change: addTo("tail", "gain", estimator.Feed{To: "in", From: "hum"}), replace: []string{"span: 0..1}}\n", "span: 0..1}}\n      tail:  {block: gain, from: hum}\n"}},
		{name: "add to voices a name of an outer node", change: addTo("wind", "noise"), replace: []string{"span: 0..1}}\n", "span: 0..1}}\n      wind:  {block: noise}\n"}},
		{name: "add to voices a name that is taken", change: addTo("hum", "noise"), refused: "there is a node named 'crowd.hum' already"},
		{name: "make voices", change: voices("choir", "4", "amp", "gain", estimator.Feed{To: "in", From: "wind"}), replace: []string{"    out: amp\n", "    out: amp\n  choir: {count: 4, nodes: {amp: {block: gain, from: wind}}, out: amp}\n"}},
		{name: "make voices of a name that is taken", change: voices("wind", "4", "amp", "noise"), refused: "there is a node named 'wind' already"},
		{name: "make voices of no name", change: voices("", "4", "amp", "noise"), refused: "cannot be the name"},
		{name: "make voices of a node of no name", change: voices("choir", "4", "a b", "noise"), refused: "cannot be the name of a node"},
		{name: "make too many voices", change: voices("choir", "4000000", "amp", "noise"), refused: "a group has from 1 to"},
		{name: "make voices of a block that is not there", change: voices("choir", "2", "amp", "noize"), refused: "'noize'"},
		{name: "rename voices", change: renameVoices("mob"), replace: []string{"[howl, crowd]", "[howl, mob]", "  crowd:\n", "  mob:\n", "crowd.amp:", "mob.amp:"}},
		{name: "rename voices to a name that is taken", change: renameVoices("howl"), refused: "there is a node named 'howl' already"},
		{name: "rename voices to what an inner node is called", change: renameVoices("hum"), replace: []string{"[howl, crowd]", "[howl, hum]", "  crowd:\n", "  hum:\n", "crowd.amp:", "hum.amp:"}},
		{name: "take out voices", change: takeOutVoices, replace: []string{"[howl, crowd]", "[howl]", crowd, ""}},
		{name: "take out voices that a node needs", of: []string{"[howl, crowd]", "crowd"}, change: takeOutVoices, refused: "'crowd' is needed by 'out', which nothing else would feed"},
		{name: "take out voices that are in scenes", of: []string{"[wind, howl]", "[wind, crowd]", "[rain]}", "[rain], dawn: [crowd]}"}, change: takeOutVoices,
			replace: []string{"[howl, crowd]", "[howl]", crowd, "", "[wind, crowd]", "[wind]", ", dawn: [crowd]", ""}},
		{name: "take out voices that move something", of: []string{"cutoff: {from: crank", "cutoff: {from: crowd"}, change: takeOutVoices,
			replace: []string{"[howl, crowd]", "[howl]", crowd, "", "{from: crowd, span: 200 Hz..4 kHz}", "2100 Hz"}},
		{name: "take out one group of two", of: []string{"voices:\n", "voices:\n  choir: {count: 2, nodes: {hum: {block: noise}}, out: hum}\n", "[howl, crowd]", "[howl, crowd, choir]"}, change: takeOutVoices,
			replace: []string{"  choir: {count: 2, nodes: {hum: {block: noise}}, out: hum}\n", "", "[howl, crowd, choir]", "[howl, crowd]"}},
		{name: "give out another node", change: giveOut("crowd.hush"), replace: []string{"out: amp", "out: hush"}},
		{name: "give out what is no audio", change: giveOut("crowd.swell"), refused: "'swell' gives no audio"},
		{name: "give out without a group", change: giveOut("wind"), refused: "'wind' is in no group of voices"},
		{name: "put on a group", change: putOn(estimator.Cue{Scene: "calm", Name: "crowd"}), replace: []string{"[rain]", "[rain, crowd]"}},
		{name: "put on a new scene", change: putOn(estimator.Cue{Scene: "dawn", Name: "bell"}), replace: []string{"calm: [rain]}", "calm: [rain], dawn: [bell]}"}},
		{name: "put on twice", change: putOn(estimator.Cue{Scene: "storm", Name: "wind"}), refused: "'wind' stands twice in the scene"},
		{name: "put on nobody", change: putOn(estimator.Cue{Scene: "storm", Name: "gale"}), refused: "there is no node"},
		{name: "put on what is no scene", change: putOn(estimator.Cue{Scene: "overlay", Name: "wind"}), refused: "cannot be the name of a scene"},
		{name: "put off", change: putOff("storm", "wind"), replace: []string{"[wind, howl]", "[howl]"}},
		{name: "put off the last", change: putOff("calm", "rain"), refused: "scenes are at least two"},
		{name: "put off what is not on", change: putOff("calm", "wind"), refused: "'wind' is not in the scene 'calm'"},
		{name: "rename a scene", change: renameScene("calm", "dawn"), replace: []string{"calm: [", "dawn: ["}},
		{name: "rename a scene to another", change: renameScene("calm", "storm"), refused: "'storm' stands under scenes already"},
		{name: "rename a scene to overlay", change: renameScene("calm", "overlay"), refused: "cannot be the name of a scene"},
		{name: "rename a scene that is not there", change: renameScene("dawn", "noon"), refused: "there is no scene 'dawn'"},

		{name: "take out what is needed", change: takeOut("crowd.hum"), refused: "'crowd.hum' is needed by 'crowd.amp'"},
		{name: "take out what is given out", change: takeOut("crowd.amp"), refused: "is what 'crowd' gives out"},
		{name: "take out a mover", change: takeOut("crank"), replace: []string{"  crank: {block: knob}\n", "", "{from: crank, span: 200 Hz..4 kHz}", "2100 Hz"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			text := strings.NewReplacer(tt.of...).Replace(troupe)
			file, g := readTroupe(t, text)
			edits, err := tt.change(g)
			if err == nil && tt.refused != "" {
				_, err = g.With(edits...)
			}
			if tt.refused != "" {
				if err == nil || !strings.Contains(err.Error(), tt.refused) {
					t.Errorf("the change is answered with %v, want a refusal that holds %q", err, tt.refused)
				}
				return
			}
			if err != nil {
				t.Fatalf("the change is refused: %v", err)
			}
			want := strings.NewReplacer(tt.replace...).Replace(text)
			if got := written(t, file, g, edits); got != want {
				t.Errorf("the file is then\n%s\nwant\n%s", got, want)
			}
		})
	}
}

// Taking a node out touches only what names it: lists keep their layout, their
// order and their comments.
func TestTakeOutOfLists(t *testing.T) {
	const above = `board: m7-480-sdram
sample_rate: 48 kHz
block_size: 48
nodes:
  wind:  {block: noise}
  rain:  {block: noise}
  veil:  {block: gain, from: rain}
  choir: {block: gain, from: [wind, rain]}
`
	tests := []struct{ name, node, before, after string }{
		{"one item goes, its comment stays", "wind", "      - wind   # the left wing\n      - veil   # the right wing\n", "        # the left wing\n      - veil   # the right wing\n"},
		{"the last item goes", "wind", "      - veil\n      # the back\n      - wind\n", "      - veil\n      # the back\n"},
		{"an item is replaced", "veil", "      - wind   # the left wing\n      - veil   # the right wing\n", "      - wind   # the left wing\n      - rain   # the right wing\n"},
		{"what feeds already is not written twice", "veil", "      - rain   # the left wing\n      - veil   # the right wing\n", "      - rain   # the left wing\n        # the right wing\n"},
		{"an item is replaced by two", "choir", "      - choir   # in front\n      - veil   # the right wing\n", "      - wind   # in front\n      - veil   # the right wing\n      - rain\n"},
		{"two items are replaced by one", "veil", "      - veil\n      - rain.1\n      # the back\n      - veil.left\n      - wind\n", "      - rain\n      - rain.1\n      # the back\n      - wind\n"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			of := func(list string) string { return above + "  out:\n    block: audio-out\n    from:\n" + list }
			file, g := readTroupe(t, of(tt.before))
			edits, err := g.TakeOut(g.Node(tt.node))
			if err != nil {
				t.Fatal(err)
			}
			lines := ""
			for line := range strings.Lines(of(tt.after)) {
				if !strings.HasPrefix(line, "  "+tt.node+":") {
					lines += line
				}
			}
			if tt.node == "wind" {
				lines = strings.Replace(lines, "[wind, rain]", "[rain]", 1)
			}
			if got := written(t, file, g, edits); got != lines {
				t.Errorf("the file is then\n%s\nwant\n%s", got, lines)
			}
		})
	}
}

// What an optional input alone was fed by leaves no empty mapping behind.
func TestTakeOutOfOptional(t *testing.T) {
	text := strings.Replace(troupe, "  wind:  {block: noise}\n", "  wind:  {block: naive-saw, pitch: 100 Hz, from: {sync: bell}}\n", 1)
	text = strings.Replace(text, "{gate: bell}", "{gate: gong}", 1)
	text = strings.Replace(text, "  rain: ", "  gong:  {block: gate-in}\n  rain: ", 1)
	file, g := readTroupe(t, text)
	edits, err := g.TakeOut(g.Node("bell"))
	if err != nil {
		t.Fatal(err)
	}
	want := strings.NewReplacer("  bell:  {block: gate-in}     # on the rail\n", "  # on the rail\n", ", from: {sync: bell}", "").Replace(text)
	if got := written(t, file, g, edits); got != want {
		t.Errorf("the file is then\n%s\nwant\n%s", got, want)
	}
}

// Every node of every good graph can be renamed: the file reads as before but
// for the name, and taking the new name back gives the file as it was.
func TestRenameThereAndBack(t *testing.T) {
	for path, text := range graphs(t, "good") {
		g, errs := read(t, source.NewFile(path, text))
		if g == nil {
			t.Fatalf("%s cannot be read: %v", path, errs.Err())
		}
		for i, n := range g.Nodes {
			old := n.Place.Text("")
			there, err := g.Rename(i, "dromedary")
			if err != nil {
				t.Errorf("%s: '%s' cannot be renamed: %v", path, n.Name, err)
				continue
			}
			back, err := there.Rename(i, old)
			if err != nil {
				t.Errorf("%s: '%s' cannot have its name back: %v", path, n.Name, err)
				continue
			}
			changed, err := g.File.Edit(back.Edits...)
			if err != nil {
				t.Errorf("%s: the other name of '%s' cannot be written: %v", path, n.Name, err)
			} else if changed.Text() != string(text) {
				t.Errorf("%s: after '%s' was renamed there and back the file is\n%s\nwant it as it was", path, n.Name, changed.Text())
			}
		}
	}
}

func TestFeeders(t *testing.T) {
	_, g := readTroupe(t, troupe)
	for group, want := range map[int]string{-1: "crank bell wind rain howl howl.band howl.high crowd", 0: "hum swell hush amp crank bell wind rain howl howl.band howl.high"} {
		if got := strings.Join(g.Feeders(group), " "); got != want {
			t.Errorf("what can feed a node of group %d is %s, want %s", group, got, want)
		}
	}
}

// Of the banks that nodes name, those that the other board lacks are taken out,
// and no others.
func TestUnpin(t *testing.T) {
	file, g := readTroupe(t, `board: m7-480-1m
sample_rate: 48 kHz
block_size: 48
nodes:
  wind: {block: noise}
  near: {block: delay, from: wind, time: 10 ms, bank: axi}
  far:  {block: delay, from: near, time: 10 ms, bank: {line: d2}}
  both: {block: cross-fed-delay, from: [far, near], time_left: 10 ms, time_right: 9 ms, bank: {left: dtcm, right: d2}}
  out:  {block: audio-out, from: [both, crowd]}
voices:
  crowd: {count: 2, nodes: {hum: {block: noise}, tail: {block: delay, from: hum, time: 5 ms, bank: d3}}, out: tail}
`)
	for _, tt := range []struct{ board, gone string }{
		{"m7-480-1m", ""},
		{"m7-480-sdram", ""},
		{"m7-216-512k", "nodes.near.bank nodes.far.bank nodes.both.bank.right voices.crowd.nodes.tail.bank"},
		{"m4f-64-256k", "nodes.near.bank nodes.far.bank nodes.both.bank voices.crowd.nodes.tail.bank"},
		{"m9", ""},
	} {
		var gone []string
		edits := g.Unpin(tt.board)
		for _, e := range edits {
			gone = append(gone, strings.Join(e.Path, "."))
		}
		if got := strings.Join(gone, " "); got != tt.gone {
			t.Errorf("of the banks %s lacks %q, want %q", tt.board, got, tt.gone)
		}
		if len(edits) > 0 {
			written(t, file, g, append([]source.Edit{{Path: []string{"board"}, Text: tt.board}}, edits...))
		}
	}
}
