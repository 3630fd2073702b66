package blocks

import (
	"regexp"
	"testing"

	"pgregory.net/rapid"
)

// numberAndWord says in an expression what splitDecimal takes by hand.
var numberAndWord = regexp.MustCompile(`^([+-]?(?:(?:[1-9]\d{0,2}(?: \d{3})+|\d+)(?:\.\d+)?|\.\d+))(?:[eE]([+-]?\d{1,4}))?\s*(.*)$`)

var blanks = regexp.MustCompile(" ")

func TestDecimalsAreThoseOfTheExpression(t *testing.T) {
	split := func(t rapid.TB, text string) {
		got, ok := splitDecimal(text)
		m := numberAndWord.FindStringSubmatch(text)
		if m == nil {
			if ok {
				t.Fatalf("%q is read as %+v, and is no number", text, got)
			}
			return
		}
		if want := (decimal{blanks.ReplaceAllString(m[1], ""), m[2], m[3]}); !ok || got != want {
			t.Fatalf("%q is read as %+v, %t, want %+v", text, got, ok, want)
		}
	}
	for _, text := range []string{
		"", "5", "-5", "+.5", ".", "5.", "1.5 kHz", "48 000", "48 000.5 Hz", "48 0001", "1234 567", "0 500", "1 000 000",
		"1 00", "1e3", "1e", "1e+", "1e-3 s", "1e12345", "1E5Hz", "0x10", "1_000", "NaN", "5 \nHz", "5 a\nb", "5\u00a0Hz", "--5", "5 dB",
	} {
		split(t, text)
	}
	rapid.Check(t, func(t *rapid.T) {
		split(t, rapid.StringOfN(rapid.RuneFrom([]rune("0123459 .+-eEs\n\tµ")), 0, 12, -1).Draw(t, "text"))
	})
}
