package source

import (
	"fmt"
	"iter"
	"slices"
	"strings"
	"testing"
)

func TestObjectMistakes(t *testing.T) {
	tests := []struct {
		name, text string
		read       func(v Value)
		want       []string
	}{
		{"an unknown key with the nearest name", "sheet: 350 ms\ndrumm: 80 Hz\n", func(v Value) {
			o := v.Object("thunder")
			o.Need("sheet")
			o.Take("drum")
			o.Done("part")
		}, []string{
			"storm.yaml:2:1: thunder has no part 'drumm'",
			"    2 | drumm: 80 Hz",
			"      | ^",
			"hint: did you mean 'drum'?",
		}},
		{"an unknown key near a name that others have", "drumm: 80 Hz\n", func(v Value) {
			v.Object("thunder").Done("part", "sheet", "drum")
		}, []string{
			"storm.yaml:1:1: thunder has no part 'drumm'",
			"    1 | drumm: 80 Hz",
			"      | ^",
			"hint: did you mean 'drum'?",
		}},
		{"unknown keys near nothing", "{moth: 1, lantern: 2}\n", func(v Value) {
			o := v.Object("thunder")
			o.Take("sheet")
			o.Done("part")
		}, []string{
			"storm.yaml:1:2: thunder has no part 'moth'",
			"    1 | {moth: 1, lantern: 2}",
			"      |  ^",
			"hint: it has sheet",
			"storm.yaml:1:11: thunder has no part 'lantern'",
			"    1 | {moth: 1, lantern: 2}",
			"      |           ^",
			"hint: it has sheet",
		}},
		{"an unknown key of more than 40 letters", "aaaaaaaaaabbbbbbbbbbccccccccccddddddddddE: 1\n", func(v Value) {
			v.Object("thunder").Done("part")
		}, []string{
			"storm.yaml:1:1: thunder has no part 'aaaaaaaaaabbbbbbbbbbccccccccccdddddddddd...'",
			"    1 | aaaaaaaaaabbbbbbbbbbccccccccccddddddddddE: 1",
			"      | ^",
		}},
		{"a merge key is a key like any other", "<<: {sheet: 1}\n", func(v Value) {
			v.Object("thunder").Done("part")
		}, []string{
			"storm.yaml:1:1: thunder has no part '<<'",
			"    1 | <<: {sheet: 1}",
			"      | ^",
		}},
		{"a key twice, the first one holds", "drum: 1\nsheet: 2\n\"drum\": 3\n", func(v Value) {
			o := v.Object("thunder")
			if got := o.Take("drum").Text("a number"); got != "1" {
				v.Fail("", "drum reads '%s'", got)
			}
			o.Take("sheet")
			o.Done("part")
		}, []string{
			"storm.yaml:3:1: 'drum' stands twice in thunder, first in line 1",
			"    3 | \"drum\": 3",
			"      | ^",
		}},
		{"a missing key", "top:\n  sheet: 1\n", func(v Value) {
			o := v.Object("the scene").Need("top").Object("thunder")
			if o.Need("drum").Given() {
				v.Fail("", "drum is given")
			}
		}, []string{
			"storm.yaml:2:3: thunder needs 'drum'",
			"    2 |   sheet: 1",
			"      |   ^",
		}},
		{"a key without a value is told once, needed or not", "drum:\nsheet: ~\n", func(v Value) {
			o := v.Object("thunder")
			if o.Need("drum").Given() || o.Take("sheet").Given() {
				v.Fail("", "a value is given")
			}
			o.Done("part")
		}, []string{
			"storm.yaml:1:1: 'drum' has no value",
			"    1 | drum:",
			"      | ^",
			"storm.yaml:2:1: 'sheet' has no value",
			"    2 | sheet: ~",
			"      | ^",
		}},
		{"a key that is no name", "? [drum]\n: 1\n", func(v Value) { v.Object("thunder").Done("part") }, []string{
			"storm.yaml:1:3: expected a name, found a list",
			"    1 | ? [drum]",
			"      |   ^",
		}},
		{"a value that is missing at the end of the file", "- ? drum", func(v Value) {
			first(v.Items("")[0].Object("thunder")).Value.Text("a pitch")
		}, []string{
			"storm.yaml:1:5: expected a pitch, found nothing",
			"    1 | - ? drum",
			"      |     ^",
		}},
		{"a key that is nothing", ": 1\n", func(v Value) { v.Object("thunder").Done("part") }, []string{
			"storm.yaml:1:1: expected a name, found nothing",
			"    1 | : 1",
			"      | ^",
		}},
		{"an empty key", "\"\": 1\n", func(v Value) { v.Object("thunder").Done("part") }, []string{
			"storm.yaml:1:1: a name may not be empty",
			"    1 | \"\": 1",
			"      | ^",
		}},
		{"a list where a mapping should be, told once", "- drum\n", func(v Value) {
			o := v.Object("thunder")
			o.Need("drum")
			o.Done("part")
		}, []string{
			"storm.yaml:1:1: expected a mapping for thunder, found a list",
			"    1 | - drum",
			"      | ^",
		}},
		{"text where a mapping should be", "drum\n", func(v Value) { v.Object("thunder") }, []string{
			"storm.yaml:1:1: expected a mapping for thunder, found the value 'drum'",
			"    1 | drum",
			"      | ^",
		}},
		{"nothing where a mapping should be", "- ~\n", func(v Value) { v.Items("")[0].Object("thunder") }, []string{
			"storm.yaml:1:3: expected a mapping for thunder, found nothing",
			"    1 | - ~",
			"      |   ^",
		}},
		{"a mapping where text should be", "{drum: 1}\n", func(v Value) { v.Text("a time") }, []string{
			"storm.yaml:1:1: expected a time, found a mapping",
			"    1 | {drum: 1}",
			"      | ^",
		}},
		{"text where a list should be", "drum\n", func(v Value) { v.Items("a list of parts") }, []string{
			"storm.yaml:1:1: expected a list of parts, found the value 'drum'",
			"    1 | drum",
			"      | ^",
		}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			v, errs := parsed(t, tt.text)
			tt.read(v)
			expect(t, errs, tt.want...)
		})
	}
}

func TestObjectPlaces(t *testing.T) {
	v, errs := parsed(t, "sheet: 1\ndrum:\nbell: 3\n")
	o := v.Object("thunder")
	if !o.At().Same(v) {
		t.Errorf("At is %s, want the mapping itself at %s", o.At().Where(), v.Where())
	}
	if !o.Has("drum") || o.Has("horn") {
		t.Errorf("Has(drum), Has(horn) are %t, %t, want true for the key without a value, false for the other", o.Has("drum"), o.Has("horn"))
	}
	if got, want := o.Key("bell").Where(), "storm.yaml:3:1"; got != want {
		t.Errorf("the key 'bell' stands at %s, want %s", got, want)
	}
	if !o.Key("horn").Same(v) {
		t.Errorf("a key that is missing is told at %s, want the mapping's own place", o.Key("horn").Where())
	}
	o.Take("sheet")
	if got, want := names(o.Rest()), "drum bell"; got != want {
		t.Errorf("Rest gives %q after 'sheet' was taken, want %q in file order", got, want)
	}
	if got := names(o.Rest()); got != "" {
		t.Errorf("Rest gives %q a second time, want nothing", got)
	}
	o.Done("part")
	expect(t, errs)
}

func names(members iter.Seq2[int, Member]) string {
	var names []string
	for i, m := range members {
		if i != len(names) {
			return "numbered wrong"
		}
		names = append(names, m.Name)
	}
	return strings.Join(names, " ")
}

// first takes the first member.
func first(o *Object) Member {
	for _, m := range o.Rest() {
		return m
	}
	return Member{}
}

func TestListOrOne(t *testing.T) {
	v, errs := parsed(t, "none: []\none: moon\nlist: [moon, front]\nmapping: {moon: 1}\n")
	o := v.Object("curtains")
	for _, tt := range []struct {
		key  string
		want int
	}{{"none", 0}, {"one", 1}, {"list", 2}, {"mapping", 1}, {"missing", 0}} {
		items := o.Take(tt.key).OneOrMore()
		if len(items) != tt.want {
			t.Errorf("'%s' holds %d values, want %d", tt.key, len(items), tt.want)
		}
	}
	if got := o.Take("one").OneOrMore()[0].Text("a curtain"); got != "moon" {
		t.Errorf("the one value reads %q, want \"moon\"", got)
	}
	expect(t, errs)
}

// A value that was not given may be read like any other and says nothing.
func TestZeroValue(t *testing.T) {
	var v Value
	v.Fail("hint", "mistake")
	o := v.Object("thunder")
	got := fmt.Sprint(v.Given(), v.IsMapping(), v.IsList(), v.IsText(), v.File() == nil, v.Pos(), v.Where() == "",
		v.Text("a time") == "", v.Items("a list") == nil, v.OneOrMore() == nil,
		o.Need("drum").Given(), o.Has("drum"), o.Key("drum").Given(), names(o.Rest()) == "")
	o.Done("part")
	if want := "false false false false true {0 0} true true true true false false false true"; got != want {
		t.Errorf("the zero Value answers\n%s, want\n%s", got, want)
	}
}

// What was given on the command line is read like a value of a file, and told
// under its name without a place.
func TestFromText(t *testing.T) {
	errs := &Errors{}
	v := FromText("--board", "lantern", errs)
	if got := v.Text("a board"); got != "lantern" || v.Where() != "--board" {
		t.Errorf("the value reads %q at %q, want \"lantern\" at \"--board\"", got, v.Where())
	}
	v.FailAt(3, "did you mean 'lanterns'?", "there is no board '%s'", "lantern")
	v.Items("a list of boards")
	expect(t, errs,
		"--board: there is no board 'lantern'", "hint: did you mean 'lanterns'?",
		"--board: expected a list of boards, found the value 'lantern'",
	)
}

func TestMistakeIsNotRecorded(t *testing.T) {
	v, errs := parsed(t, "drum: 80 Hz\n")
	e := v.Object("thunder").Need("drum").Mistake("choose a lower one", "'%s' is too high", "80 Hz")
	expect(t, errs)
	want := "storm.yaml:1:7: '80 Hz' is too high\n    1 | drum: 80 Hz\n      |       ^\nhint: choose a lower one"
	if got := e.Error(); got != want {
		t.Errorf("the mistake should read\n%s\nbut reads\n%s", want, got)
	}
}

// Below finds the texts under a key at any depth, each once.
func TestBelow(t *testing.T) {
	var errs Errors
	v := Parse(NewFile("x.yaml", []byte("nodes:\n  a: {block: delay, from: b}\n  b: {block: noise}\nvoices: {v: {nodes: {c: {block: delay}, block: {block: [x]}}}}\nblock: plain\n")), &errs)
	if got, want := v.Below("block"), []string{"delay", "noise", "plain"}; !slices.Equal(got, want) {
		t.Errorf("under 'block' stand %v, want %v", got, want)
	}
	if got := (Value{}).Below("block"); got != nil {
		t.Errorf("below nothing stands %v, want nothing", got)
	}
	if errs.Len() > 0 {
		t.Errorf("looking below records mistakes: %v", errs.Err())
	}
}

// Under looks without reading: it records nothing, whatever it finds.
func TestUnder(t *testing.T) {
	var errs Errors
	v := Parse(NewFile("x.yaml", []byte("block: delay\nblock: twice\nempty:\n")), &errs)
	if got := v.Under("block").Text(""); got != "delay" {
		t.Errorf("under 'block' stands %q, want the first, %q", got, "delay")
	}
	if v.Under("role").Given() || (Value{}).Under("block").Given() {
		t.Error("something stands under a key that is not there")
	}
	if errs.Len() > 0 {
		t.Errorf("looking records mistakes: %v", errs.Err())
	}
}
