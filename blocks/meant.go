package blocks

import (
	"fmt"
	"slices"
	"strings"

	"elbowroom/blocks/source"
)

// Meant are the blocks that a word may stand for which is the name of none,
// sorted: those that the trade calls so; else those of that role or family;
// else those that have the word in their name, whole or as its stem.
func (l *Library) Meant(word string) []string {
	word = strings.ToLower(word)
	for _, fits := range []func(b *Block) bool{
		func(b *Block) bool { return slices.Contains(b.Called, word) },
		func(b *Block) bool { return b.Role == word || b.Family == word },
		func(b *Block) bool {
			return slices.ContainsFunc(strings.Split(b.Name, "-"), func(part string) bool { return sameStem(part, word) })
		},
	} {
		var names []string
		for _, name := range l.BlockNames() {
			if b, err := l.Block(name); err == nil && fits(b) {
				names = append(names, name)
			}
		}
		if len(names) > 0 {
			return names
		}
	}
	return nil
}

// sameStem tells whether two words are the same but for a short ending:
// 'sequence' and 'sequencer'. Below four letters an ending is half of the word.
func sameStem(a, b string) bool {
	const stem, ending = 4, 3
	short, long := min(len(a), len(b)), max(len(a), len(b))
	return a == b || short >= stem && long-short <= ending && a[:short] == b[:short]
}

// BlockHint tells which block may have been meant by a word that is the name of
// none; others are names that could stand there as well.
func (l *Library) BlockHint(word string, others ...string) string {
	const most = 4
	meant := l.Meant(word)
	if near := source.DidYouMean(word, append(l.BlockNames(), others...)); near != "" && len(meant) != 1 {
		return near
	}
	switch {
	case len(meant) > most:
		return fmt.Sprintf("%d blocks are of that kind, such as %s: 'elbowroom blocks %s' lists them", len(meant), strings.Join(meant[:most-1], ", "), strings.ToLower(word))
	case len(meant) == 1:
		return "did you mean '" + meant[0] + "'?"
	case len(meant) > 0:
		return "did you mean '" + strings.Join(meant[:len(meant)-1], "', '") + "' or '" + meant[len(meant)-1] + "'?"
	}
	return "'elbowroom blocks' lists them"
}
