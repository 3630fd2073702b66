package source

import (
	"iter"
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
	members []member
	missing []string // keys that were asked for and are none of its members
	lists   string   // where the keys are listed, for who is far from all of them; may be empty
}

// member is a key with its value, and what was done with it.
type member struct {
	key, value   *node
	asked, taken bool
}

// fewMissing is room for the keys that a mapping could have and most have not.
const fewMissing = 8

// smallMapping is how many keys are compared one by one before a map is worth
// its room.
const smallMapping = 64

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
	o.members = make([]member, 0, n)
	var first map[string]*node
	if n > smallMapping {
		first = make(map[string]*node, n)
	}
	for i := 0; i+1 < len(v.node.content); i += 2 {
		key, value := v.node.content[i], v.node.content[i+1]
		name := o.value(key).Text("a name")
		if name == "" {
			if o.value(key).IsText() {
				o.value(key).Fail("", "a name may not be empty")
			}
			continue
		}
		earlier := first[name]
		if first == nil {
			if k := o.find(name); k >= 0 {
				earlier = o.members[k].key
			}
		} else if earlier == nil {
			first[name] = key
		}
		if earlier != nil {
			o.value(key).Fail("", "'%s' stands twice in %s, first in line %d", clip(name), what, o.value(earlier).Pos().Line)
			continue
		}
		if value.null && value.value == "" {
			// What is not written has no place of its own.
			nothing := *value
			nothing.line, nothing.column = key.line, key.column
			value = &nothing
		}
		o.members = append(o.members, member{key: key, value: value})
	}
	o.slips()
	return o
}

// value is a node of the mapping's file as a value.
func (o *Object) value(n *node) Value { return Value{o.at.file, n, o.at.errs} }

// find is the index of a key, or -1.
func (o *Object) find(name string) int {
	return slices.IndexFunc(o.members, func(m member) bool { return m.key.value == name })
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
	i := o.find(name)
	if i < 0 {
		if o.missing == nil {
			o.missing = make([]string, 0, fewMissing)
		}
		o.missing = append(o.missing, name)
		return Value{}
	}
	m := &o.members[i]
	m.asked, m.taken = true, true
	if m.value.null {
		o.value(m.key).Fail("", "'%s' has no value", name)
		return Value{}
	}
	return o.value(m.value)
}

// Need returns the value of a key that must be there. Where one is there that
// was probably meant, that is the mistake.
func (o *Object) Need(name string) Value {
	v := o.Take(name)
	if v.Given() || !o.at.IsMapping() || o.Has(name) {
		return v
	}
	for i := range o.members {
		m := &o.members[i]
		if meant := m.key.value; !m.taken && Nearest(meant, []string{name}) != "" {
			m.taken = true
			o.value(m.key).Fail(DidYouMean(meant, []string{name}), "%s has no key '%s'", o.what, clip(meant))
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
	return i >= 0 && o.members[i].taken || slices.Contains(o.missing, name)
}

// Key is the place of a key, for messages about the key itself.
func (o *Object) Key(name string) Value {
	if i := o.find(name); i >= 0 {
		return o.value(o.members[i].key)
	}
	return o.at
}

// Members are all members in file order, numbered from 0, without taking them.
func (o *Object) Members() iter.Seq2[int, Member] {
	return func(yield func(int, Member) bool) {
		for i := range o.members {
			if !yield(i, o.member(i)) {
				return
			}
		}
	}
}

// Rest are the members not taken so far, in file order, numbered from 0; each
// is taken when its turn comes.
func (o *Object) Rest() iter.Seq2[int, Member] {
	return func(yield func(int, Member) bool) {
		n := 0
		for i := range o.members {
			if o.members[i].taken {
				continue
			}
			o.members[i].taken = true
			if !yield(n, o.member(i)) {
				return
			}
			n++
		}
	}
}

func (o *Object) member(i int) Member {
	m := &o.members[i]
	return Member{o.value(m.key), m.key.value, o.value(m.value)}
}

// Done records every key that nobody took, with the nearest known name: one
// that was asked for, or one of the others that the mapping could have had.
// Where none is near, all are told, if they are few.
func (o *Object) Done(kind string, others ...string) {
	const few = 6
	var known []string
	for i := range o.members {
		m := &o.members[i]
		if m.taken {
			continue
		}
		if known == nil {
			known = o.known(others)
		}
		name := m.key.value
		hint := DidYouMean(name, known)
		if hint == "" {
			hint = o.lists
		}
		if hint == "" && len(known) > 0 && len(known) <= few {
			hint = "it has " + strings.Join(known, ", ")
		}
		o.value(m.key).Fail(hint, "%s has no %s '%s'", o.what, kind, clip(name))
	}
}

// known are the keys that were asked for and others, sorted.
func (o *Object) known(others []string) []string {
	known := slices.Concat(o.missing, others)
	for _, m := range o.members {
		if m.asked {
			known = append(known, m.key.value)
		}
	}
	slices.Sort(known)
	return slices.Compact(known)
}
