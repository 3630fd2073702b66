package source

import (
	"slices"
	"strings"
)

// Member is one key of a mapping with its value.
type Member struct {
	Key   Value
	Name  string
	Value Value
}

// Object is a mapping that is being read: keys are taken one by one, and Done
// demands that none is left.
type Object struct {
	at      Value
	what    string
	members []Member
	taken   []bool   // of each member
	asked   []string // the keys that were asked for
	lists   string   // where the keys are listed, for who is far from all of them; may be empty
}

// smallMapping is how many keys are compared one by one before a map is worth
// its room.
const smallMapping = 16

// Object reads a mapping; what names it in messages ("delay", "the board").
// Where the value is no mapping, or not given, the Object is empty.
func (v Value) Object(what string) *Object {
	o := &Object{at: v, what: what}
	if v.node == nil {
		return o
	}
	if !v.IsMapping() {
		v.Fail("", "expected a mapping for %s, found %s", what, v.kind())
		return o
	}
	n := len(v.node.content) / 2
	o.members = make([]Member, 0, n)
	var first map[string]Value
	if n > smallMapping {
		first = make(map[string]Value, n)
	}
	for i := 0; i+1 < len(v.node.content); i += 2 {
		key := Value{v.file, v.node.content[i], v.errs}
		name := key.Text("a name")
		if name == "" {
			if key.IsText() {
				key.Fail("", "a name may not be empty")
			}
			continue
		}
		earlier := first[name]
		if first == nil {
			if k := o.find(name); k >= 0 {
				earlier = o.members[k].Key
			}
		} else if !earlier.Given() {
			first[name] = key
		}
		if earlier.Given() {
			key.Fail("", "'%s' stands twice in %s, first in line %d", clip(name), what, earlier.Pos().Line)
			continue
		}
		value := v.node.content[i+1]
		if value.null && value.value == "" {
			// What is not written has no place of its own.
			nothing := *value
			nothing.line, nothing.column = key.node.line, key.node.column
			value = &nothing
		}
		o.members = append(o.members, Member{key, name, Value{v.file, value, v.errs}})
	}
	o.slips()
	o.taken = make([]bool, len(o.members))
	return o
}

// find is the index of a key, or -1.
func (o *Object) find(name string) int {
	for i := range o.members {
		if o.members[i].Name == name {
			return i
		}
	}
	return -1
}

// Call changes what names the mapping in messages, once that is known.
func (o *Object) Call(what string) { o.what = what }

// Lists says where a reader finds what keys the mapping may have.
func (o *Object) Lists(hint string) { o.lists = hint }

// At is the mapping as a value, for messages about the whole.
func (o *Object) At() Value { return o.at }

// Take returns the value of a key, which may be missing. A key without a
// value is a mistake.
func (o *Object) Take(name string) Value {
	o.asked = append(o.asked, name)
	i := o.find(name)
	if i < 0 {
		return Value{}
	}
	o.taken[i] = true
	m := &o.members[i]
	if !m.Value.IsMapping() && !m.Value.IsList() && !m.Value.IsText() {
		m.Key.Fail("", "'%s' has no value", name)
		return Value{}
	}
	return m.Value
}

// Need returns the value of a key that must be there. Where one is there that
// was probably meant, that is the mistake.
func (o *Object) Need(name string) Value {
	v := o.Take(name)
	if v.Given() || !o.at.IsMapping() || o.Has(name) {
		return v
	}
	for i, m := range o.members {
		if !o.taken[i] && Nearest(m.Name, []string{name}) != "" {
			o.taken[i] = true
			m.Key.Fail(DidYouMean(m.Name, []string{name}), "%s has no key '%s'", o.what, clip(m.Name))
			return Value{}
		}
	}
	o.at.Fail("", "%s needs '%s'", o.what, name)
	return Value{}
}

// Has tells whether a key stands in the mapping, with or without a value.
func (o *Object) Has(name string) bool { return o.find(name) >= 0 }

// Took tells whether a key was asked for, or taken with the rest.
func (o *Object) Took(name string) bool {
	i := o.find(name)
	return slices.Contains(o.asked, name) || i >= 0 && o.taken[i]
}

// Key is the place of a key, for messages about the key itself.
func (o *Object) Key(name string) Value {
	if i := o.find(name); i >= 0 {
		return o.members[i].Key
	}
	return o.at
}

// Members are all members in file order, without taking them.
func (o *Object) Members() []Member { return o.members }

// Rest returns the members not taken so far, in file order, and takes them.
func (o *Object) Rest() []Member {
	var rest []Member
	for i, m := range o.members {
		if !o.taken[i] {
			o.taken[i] = true
			rest = append(rest, m)
		}
	}
	return rest
}

// Done records every key that nobody took, with the nearest known name: one
// that was asked for, or one of the others that the mapping could have had.
// Where none is near, all are told, if they are few.
func (o *Object) Done(kind string, others ...string) {
	const few = 6
	known := slices.Concat(o.asked, others)
	for i, m := range o.members {
		if o.taken[i] {
			continue
		}
		hint := DidYouMean(m.Name, known)
		if hint == "" {
			hint = o.lists
		}
		if hint == "" && len(known) > 0 && len(known) <= few {
			hint = "it has " + strings.Join(slices.Compact(slices.Sorted(slices.Values(known))), ", ")
		}
		m.Key.Fail(hint, "%s has no %s '%s'", o.what, kind, clip(m.Name))
	}
}
