package source

import (
	"strings"
	"testing"
)

func TestNearest(t *testing.T) {
	tests := []struct {
		name, word string
		candidates []string
		want       string
	}{
		{"nothing to choose from", "drum", nil, ""},
		{"the word itself", "drum", []string{"drums", "drum"}, "drum"},
		{"case does not count", "Drum", []string{"drums", "DRUM"}, "DRUM"},
		{"fewest edits", "thundr", []string{"thunders", "thunder", "hundred"}, "thunder"},
		{"a tie goes by name", "bell", []string{"well", "ball", "tell"}, "ball"},
		{"a tie goes by name, whatever the order", "bell", []string{"ball", "tell", "well"}, "ball"},
		{"one edit in a word of one letter", "x", []string{"y"}, "y"},
		{"one edit in a word of two letters", "ab", []string{"ax"}, "ax"},
		{"but not two", "ab", []string{"xy"}, ""},
		{"one edit in five letters", "storm", []string{"stork"}, "stork"},
		{"but not two of five", "storm", []string{"stoke"}, ""},
		{"two edits in six letters", "lamppp", []string{"lamp"}, "lamp"},
		{"but not three of eight", "lanterns", []string{"lante"}, ""},
		{"three of nine", "lanternss", []string{"lanter"}, "lanter"},
		{"two letters in the wrong order are one edit", "tiem", []string{"stem", "time"}, "time"},
		{"but not two pairs of five letters", "twohy", []string{"wtoyh"}, ""},
		{"the only one that begins so", "lant", []string{"lantern-of-glass", "moon"}, "lantern-of-glass"},
		{"but not one of several", "lant", []string{"lantern-of-glass", "lantern-of-paper"}, ""},
		{"and not of two letters", "la", []string{"lantern-of-glass"}, ""},
		{"letters count, not bytes", "öäü", []string{"öxx"}, ""},
		{"a word of 64 bytes is still compared", strings.Repeat("a", 64), []string{strings.Repeat("a", 60)}, strings.Repeat("a", 60)},
		{"a longer one is not", strings.Repeat("a", 65), []string{strings.Repeat("a", 65)}, ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if got := Nearest(tt.word, tt.candidates); got != tt.want {
				t.Errorf("Nearest(%q, %q) is %q, want %q", tt.word, tt.candidates, got, tt.want)
			}
		})
	}
}

func TestDidYouMean(t *testing.T) {
	if got, want := DidYouMean("thundr", []string{"thunder"}), "did you mean 'thunder'?"; got != want {
		t.Errorf("DidYouMean is %q, want %q", got, want)
	}
	if got := DidYouMean("moth", []string{"thunder"}); got != "" {
		t.Errorf("DidYouMean is %q where nothing is near, want no hint", got)
	}
}
