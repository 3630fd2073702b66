package source

import (
	"slices"
	"strings"

	"github.com/agnivade/levenshtein"
)

// Nearest returns the candidate that was probably meant by a word: the one
// with fewest edits, at most one in three letters, ties by name; else the only
// one that begins with the word. Two letters in the wrong order are one edit. It
// returns "" where none is near.
func Nearest(word string, candidates []string) string {
	if len(word) > 64 {
		return ""
	}
	sorted := slices.Sorted(slices.Values(candidates))
	best, least := "", max(1, len([]rune(word))/3)+1
	for _, c := range sorted {
		if d := edits([]rune(strings.ToLower(word)), []rune(strings.ToLower(c))); d < least {
			best, least = c, d
		}
	}
	if best == "" {
		return onlyLonger(word, sorted)
	}
	return best
}

// onlyLonger is the only candidate that begins with a word of some letters, or "".
func onlyLonger(word string, candidates []string) string {
	const fewest = 3
	longer := slices.DeleteFunc(slices.Clone(candidates), func(c string) bool { return !strings.HasPrefix(c, strings.ToLower(word)) })
	if len(word) < fewest || len(longer) != 1 {
		return ""
	}
	return longer[0]
}

// edits counts how many letters must be changed, added or removed to make one
// word of another.
func edits(a, b []rune) int {
	if len(a) == len(b) {
		for i := 1; i < len(a); i++ {
			if a[i] != a[i-1] && a[i] == b[i-1] && a[i-1] == b[i] && slices.Equal(a[:i-1], b[:i-1]) && slices.Equal(a[i+1:], b[i+1:]) {
				return 1
			}
		}
	}
	return levenshtein.ComputeDistance(string(a), string(b))
}

// DidYouMean is a hint with the nearest candidate, or "".
func DidYouMean(word string, candidates []string) string {
	if best := Nearest(word, candidates); best != "" {
		return "did you mean '" + best + "'?"
	}
	return ""
}
