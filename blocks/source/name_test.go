package source

import (
	"regexp"
	"testing"

	"pgregory.net/rapid"
)

// IsWords agrees with the pattern that says the same.
func TestIsWords(t *testing.T) {
	pattern := regexp.MustCompile(`^[a-z][a-z0-9]*(-[a-z0-9]+)*$`)
	check := func(t rapid.TB, text string) {
		if got, want := IsWords(text, '-'), pattern.MatchString(text); got != want {
			t.Errorf("IsWords(%q, '-') is %v, want %v as %v has it", text, got, want, pattern)
		}
	}
	for _, text := range []string{"", "a", "delay", "four-comb-reverb", "a-4", "4-a", "-a", "a-", "a--b", "a_b", "A", "é", "a b"} {
		check(t, text)
	}
	rapid.Check(t, func(t *rapid.T) {
		check(t, rapid.StringOfN(rapid.RuneFrom([]rune("ab0-_A")), 0, 8, -1).Draw(t, "text"))
	})
}
