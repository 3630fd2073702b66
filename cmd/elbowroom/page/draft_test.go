package page_test

import (
	"os"
	"strings"
	"testing"
)

// TestGraphIsMadeOnThePage makes a graph without touching the file: finds a
// block, adds it, wires it, names it, takes a node out, and saves.
func TestGraphIsMadeOnThePage(t *testing.T) {
	s := newStage(t, hall)
	wantIn(t, "searching", s.post(t, "/search", "search", "plate").Body.String(), `value="plate-reverb"`, "<h4>reverb</h4>")
	wantIn(t, "searching for what is not there", s.post(t, "/search", "search", "bassoon").Body.String(), "No block of the catalog has these words")
	wantIn(t, "choosing", s.post(t, "/choose", "block", "gain").Body.String(), `name="from.in"`, "<option>howl.band</option>")
	wantIn(t, "adding", s.post(t, "/add", "block", "gain", "name", "veil", "from.in", "howl").Body.String(), "veil added", `id="controls-veil"`, "1 change is not saved")
	wantIn(t, "wiring", s.post(t, "/wire", "node", "out", "to", "in", "from", "veil").Body.String(), "out: veil wired to in")
	wantIn(t, "unwiring", s.post(t, "/unwire", "node", "out", "to", "in", "from", "howl").Body.String(), "no longer wired to in")
	wantIn(t, "moving a parameter", s.post(t, "/wire", "node", "veil", "to", "gain", "from", "crank", "span", "0.25..0.75").Body.String(), "veil: crank wired to gain")
	wantIn(t, "renaming", s.post(t, "/rename", "node", "howl", "name", "moan").Body.String(), "howl is called moan", `id="controls-moan"`)
	wantIn(t, "taking out", s.post(t, "/remove", "node", "wind").Body.String(), "wind taken out", "6 changes are not saved")
	wantIn(t, "undoing", s.post(t, "/undo").Body.String(), "undone: wind taken out", `value="wind"`)
	shown := s.post(t, "/difference").Body.String()
	wantIn(t, "asking to save", shown, "What saving writes")
	wantIn(t, "saving", s.post(t, "/save", "version", versionIn(t, shown)).Body.String(), "saved into hall.yaml")
	want := strings.NewReplacer("howl:  {block: state-variable", "moan:  {block: state-variable", "from: howl, time", "from: moan, time",
		"  out:   {block: audio-out, from: howl}\n", "  out:   {block: audio-out, from: [veil]}\n  veil:  {block: gain, from: moan, gain: {from: crank, span: 0.25..0.75}}\n").Replace(hall)
	if got := s.text(t); got != want {
		t.Errorf("saving writes\n%s\nwant\n%s", got, want)
	}
}

// TestVoicesAndScenesAreMadeOnThePage makes voices of a new node, puts another
// among them, lets it give out, makes scenes, names all that, and saves.
func TestVoicesAndScenesAreMadeOnThePage(t *testing.T) {
	s := newStage(t, hall)
	s.post(t, "/choose", "block", "noise")
	wantIn(t, "making voices", s.post(t, "/add", "block", "noise", "name", "hum", "voices", "crowd", "count", "3").Body.String(), "crowd.hum added", `id="dial.0.crowd.count"`)
	s.post(t, "/search", "search", "gain", "into", "crowd")
	wantIn(t, "choosing what goes among voices", s.post(t, "/choose", "block", "gain").Body.String(), `name="in" value="crowd"`, "<option>hum</option>", "<option>howl</option>")
	wantIn(t, "adding among voices", s.post(t, "/add", "block", "gain", "name", "hush", "in", "crowd", "from.in", "hum").Body.String(), "crowd.hush added", "Let hush be what the voices give out")
	wantIn(t, "giving out", s.post(t, "/give-out", "node", "crowd.hush").Body.String(), "crowd.hush is what its voices give out")
	wantIn(t, "naming voices", s.post(t, "/rename-voices", "group", "crowd", "name", "mob").Body.String(), "crowd is called mob", `id="voices-mob"`)
	wantIn(t, "making one scene alone", s.post(t, "/put-on", "scene", "storm", "name", "wind").Body.String(), "That cannot be done", "at least two")
	wantIn(t, "making scenes", s.post(t, "/put-on", "scene", "storm", "name", "wind", "other-scene", "calm", "other-name", "mob").Body.String(), "Scene storm", "Scene calm")
	wantIn(t, "putting in", s.post(t, "/put-on", "scene", "calm", "name", "echo").Body.String(), "Take echo out of calm")
	wantIn(t, "taking out", s.post(t, "/put-off", "scene", "calm", "name", "echo").Body.String(), "echo no longer runs in calm")
	wantIn(t, "naming a scene", s.post(t, "/rename-scene", "scene", "calm", "name", "dawn").Body.String(), "Scene dawn")
	s.post(t, "/save", "version", versionIn(t, s.post(t, "/difference").Body.String()))
	if s.server.Unsaved() != 0 {
		t.Errorf("after saving %d changes are not saved", s.server.Unsaved())
	}
	want := hall + "voices: {mob: {count: 3, nodes: {hum: {block: noise}, hush: {block: gain, from: hum}}, out: hush}}\nscenes: {storm: [wind], dawn: [mob]}\n"
	if got := s.text(t); got != want {
		t.Errorf("saving writes\n%s\nwant\n%s", got, want)
	}
	wantIn(t, "taking voices out that are all of a scene", s.post(t, "/remove-voices", "group", "mob").Body.String(), "That cannot be done", "at least two")
	s.post(t, "/put-on", "scene", "noon", "name", "echo")
	wantIn(t, "taking voices out", s.post(t, "/remove-voices", "group", "mob").Body.String(), "mob taken out", "2 changes are not saved")
	s.post(t, "/save", "version", versionIn(t, s.post(t, "/difference").Body.String()))
	want = hall + "scenes: {storm: [wind], noon: [echo]}\n"
	if got := s.text(t); got != want {
		t.Errorf("after the voices are taken out saving writes\n%s\nwant\n%s", got, want)
	}
}

// TestHostileFormsChangeNothing: what a form can hold that no page would send.
func TestHostileFormsChangeNothing(t *testing.T) {
	s := newStage(t, hall)
	tests := []struct {
		path   string
		fields []string
		want   string
	}{
		{"/add", []string{"block", "noise", "name", "x: {block: noise}\n  y"}, "cannot be the name of a node"},
		{"/add", []string{"block", "noise", "name", "<script>alert(1)</script>"}, "&lt;script&gt;"},
		{"/add", []string{"block", "noise", "name", strings.Repeat("é", 9000)}, "cannot be the name of a node"},
		{"/add", []string{"block", "noise", "name", "wind"}, "there is a node named &#39;wind&#39; already"},
		{"/add", []string{"block", "../../etc/passwd", "name", "x"}, "../../etc/passwd"},
		{"/add", []string{"block", "gain", "name", "x", "from.in", "howl}\nboard: x"}, "there is no node"},
		{"/add", []string{"block", "gain", "name", "x"}, "nothing feeds the input"},
		{"/add", nil, "That cannot be done"},
		{"/rename", []string{"node", "howl", "name", "out"}, "there is a node named &#39;out&#39; already"},
		{"/rename", []string{"node", "howl", "name", ""}, "cannot be the name of a node"},
		{"/rename", []string{"node", "nobody", "name", "x"}, "there is no such node"},
		{"/wire", []string{"node", "out", "to", "in", "from", "out"}, "That cannot be done"},
		{"/wire", []string{"node", "out", "to", "nodes", "from", "wind"}, "has no input"},
		{"/wire", []string{"node", "out", "to", "in", "from", "- wind\n- howl"}, "there is no node"},
		{"/unwire", []string{"node", "out", "to", "in", "from", "howl"}, "nothing feeds the input"},
		{"/wire", []string{"node", "echo", "to", "feedback", "from", "crank", "span", "0.25"}, "That cannot be done"},
		{"/wire", []string{"node", "echo", "to", "feedback", "from", "crank", "span", "0..1}\nboard: x"}, "That cannot be done"},
		{"/remove", []string{"node", ""}, "there is no such node"},
		{"/add", []string{"block", "noise", "name", "x", "in", "nobody"}, "there is no such node"},
		{"/add", []string{"block", "noise", "name", "x", "voices", "a: b", "count", "2"}, "cannot be the name of a node"},
		{"/rename-voices", []string{"group", "nobody", "name", "x"}, "there is no such node"},
		{"/remove-voices", []string{"group", "nobody"}, "there is no such node"},
		{"/rename-scene", []string{"scene", "nobody", "name", "x"}, "there is no scene"},
		{"/put-on", []string{"scene", "x: y", "name", "wind"}, "cannot be the name of a scene"},
		{"/put-off", []string{"scene", "storm", "name", "wind"}, "is not in the scene"},
		{"/give-out", []string{"node", "wind"}, "in no group of voices"},
		{"/choose", []string{"block", "/etc/passwd"}, "/etc/passwd"},
	}
	for _, tt := range tests {
		text := s.post(t, tt.path, tt.fields...).Body.String()
		wantIn(t, tt.path+" "+strings.Join(tt.fields, " "), text, "That cannot be done", tt.want)
		if strings.Contains(text, "<script>alert") {
			t.Errorf("%s %q comes back as markup", tt.path, tt.fields)
		}
		if s.server.Unsaved() != 0 {
			t.Fatalf("after %s %q there is an unsaved change", tt.path, tt.fields)
		}
	}
	if s.text(t) != hall {
		t.Error("the file was written")
	}
}

// TestNothingIsDrawnUpThatCannotBeSaved: a layout that cannot be edited safely
// is told at once, and not when all is done.
func TestNothingIsDrawnUpThatCannotBeSaved(t *testing.T) {
	text := strings.Replace(hall, "from: [wind, echo],", "from: [wind, # left\n    echo],", 1)
	s := newStage(t, text)
	wantIn(t, "taking out a node beside a comment", s.post(t, "/remove", "node", "wind").Body.String(), "That cannot be done", "a comment may stand inside", "by hand")
	if s.server.Unsaved() != 0 {
		t.Error("a change is kept that cannot be saved")
	}
	if got, err := os.ReadFile(s.path); err != nil || string(got) != text {
		t.Errorf("the file was written (%v)", err)
	}
}
