package source

import (
	"slices"
	"strings"
)

// A slip is a key that is none: YAML reads what people write by mistake as a
// key without a value, or with half of one.
var (
	unspaced = Lazily(`^([a-z_]+):(\S.*)$`)           // {block:noise}
	uncolon  = Lazily(`^([A-Za-z][\w.-]*)\s*\{\s*\w`) // wind {block: noise}
	fraction = Lazily(`^(\d+(?:\s*[A-Za-z%µ]+)?)$`)   // the end of 0,8 kHz
	whole    = Lazily(`^[+-]?\d+$`)                   // its beginning
)

// slips tells of slips among the members of a mapping, and reads on as was
// meant, or without what makes no sense.
func (o *Object) slips() {
	kept := o.members[:0]
	for _, m := range o.members {
		name := m.key.value
		if m.key.style != 0 { // what is quoted was meant as it stands
			kept = append(kept, m)
			continue
		}
		bare := m.value.null
		if bare && unspaced().MatchString(name) {
			k := unspaced().FindStringSubmatch(name)
			o.value(m.key).Fail("write '"+k[1]+": "+clip(k[2])+"'", "a blank is missing after the colon in '%s'", clip(name))
			name = k[1]
			m.key, m.value = m.key.as(name), m.key.as(k[2])
			if slices.ContainsFunc(kept, func(k member) bool { return k.key.value == name }) {
				continue
			}
		}
		if strings.Contains(name, "{") && uncolon().MatchString(name) {
			k := uncolon().FindStringSubmatch(name)
			o.value(m.key).Fail("write '"+k[1]+": {...}'", "a colon is missing after '%s'", clip(k[1]))
			continue
		}
		if n := len(kept); n > 0 && bare && fraction().MatchString(name) {
			if before := &kept[n-1]; o.value(before.value).IsText() && whole().MatchString(before.value.value) {
				meant := before.value.value + "." + name
				o.value(before.value).Fail("write '"+meant+"'", "a number is written with a point, and here stands a comma")
				before.value = before.value.as(meant)
				continue
			}
		}
		kept = append(kept, m)
	}
	o.members = kept
}

// as is a scalar with another text, at the same place.
func (n *node) as(text string) *node {
	c := *n
	c.value, c.null = strings.TrimSpace(text), false
	return &c
}
