package source

import (
	"slices"
	"strings"

	"github.com/agnivade/levenshtein"
)

// Nearest returns the candidate that was probably meant by a word: the one
// with fewest edits, at most one in three letters, ties by name. It returns
// "" where none is near.
func Nearest(word string, candidates []string) string {
	if len(word) > 64 {
		return ""
	}
	sorted := slices.Sorted(slices.Values(candidates))
	best, least := "", max(1, len([]rune(word))/3)+1
	for _, c := range sorted {
		if d := levenshtein.ComputeDistance(strings.ToLower(word), strings.ToLower(c)); d < least {
			best, least = c, d
		}
	}
	return best
}

// DidYouMean is a hint with the nearest candidate, or "".
func DidYouMean(word string, candidates []string) string {
	if best := Nearest(word, candidates); best != "" {
		return "did you mean '" + best + "'?"
	}
	return ""
}
