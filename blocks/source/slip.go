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
		if m.Key.node.style != 0 { // what is quoted was meant as it stands
			kept = append(kept, m)
			continue
		}
		bare := !m.Value.IsMapping() && !m.Value.IsList() && !m.Value.IsText()
		if bare && unspaced().MatchString(m.Name) {
			k := unspaced().FindStringSubmatch(m.Name)
			m.Key.Fail("write '"+k[1]+": "+clip(k[2])+"'", "a blank is missing after the colon in '%s'", clip(m.Name))
			m.Name, m.Value = k[1], m.Key.as(k[2])
			if slices.ContainsFunc(kept, func(k Member) bool { return k.Name == m.Name }) {
				continue
			}
		}
		if strings.Contains(m.Name, "{") && uncolon().MatchString(m.Name) {
			k := uncolon().FindStringSubmatch(m.Name)
			m.Key.Fail("write '"+k[1]+": {...}'", "a colon is missing after '%s'", clip(k[1]))
			continue
		}
		if n := len(kept); n > 0 && bare && fraction().MatchString(m.Name) {
			if before := &kept[n-1]; before.Value.IsText() && whole().MatchString(before.Value.node.value) {
				meant := before.Value.node.value + "." + m.Name
				before.Value.Fail("write '"+meant+"'", "a number is written with a point, and here stands a comma")
				before.Value = before.Value.as(meant)
				continue
			}
		}
		kept = append(kept, m)
	}
	o.members = kept
}

// as is the value with another text, at the same place.
func (v Value) as(text string) Value {
	n := *v.node
	n.value, n.null = strings.TrimSpace(text), false
	v.node = &n
	return v
}
