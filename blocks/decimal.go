package blocks

import "strings"

// decimal is a decimal number as it was written, with the word behind it.
type decimal struct {
	mantissa string // without blanks
	exponent string // of at most four digits; may be empty
	word     string // to the end of the text; may be empty
}

// splitDecimal takes a decimal number, in groups of three if the writer likes
// ('48 000'), and the word behind it; it is false where no number begins. It
// leaves hexadecimals, underscores, NaN and Inf to be refused as unknown units.
// It is no expression since most of the numbers of a check pass through it, and
// memory that an expression walks through costs a good part of its time.
func splitDecimal(text string) (decimal, bool) {
	at := 0
	if text != "" && isSign(text[0]) {
		at++
	}
	whole := digits(text[at:])
	if whole > 0 && whole <= 3 && text[at] != '0' {
		for rest := text[at+whole:]; strings.HasPrefix(rest, " ") && digits(rest[1:]) >= 3; rest = rest[4:] {
			whole += 4
		}
	}
	at += whole
	if rest := text[at:]; strings.HasPrefix(rest, ".") && digits(rest[1:]) > 0 {
		at += 1 + digits(rest[1:])
	} else if whole == 0 {
		return decimal{}, false
	}
	n := decimal{mantissa: strings.ReplaceAll(text[:at], " ", "")}
	if rest := text[at:]; rest != "" && (rest[0] == 'e' || rest[0] == 'E') {
		length := 1
		if len(rest) > 1 && isSign(rest[1]) {
			length++
		}
		if d := min(digits(rest[length:]), 4); d > 0 {
			n.exponent = rest[1 : length+d]
			at += length + d
		}
	}
	n.word = strings.TrimLeft(text[at:], " \t\r\n\f")
	return n, !strings.Contains(n.word, "\n")
}

func isSign(c byte) bool { return c == '+' || c == '-' }

// digits is how many digits a text begins with.
func digits(text string) int {
	n := 0
	for n < len(text) && isDigit(text[n]) {
		n++
	}
	return n
}
