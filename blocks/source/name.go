package source

// IsWords tells whether a text is one or more lower-case words of letters and
// digits, the first beginning with a letter, joined by a character.
func IsWords(text string, joiner byte) bool {
	fresh := true // a word begins here
	for i := range len(text) {
		c := text[i]
		switch {
		case 'a' <= c && c <= 'z', '0' <= c && c <= '9' && i > 0:
			fresh = false
		case c == joiner && !fresh:
			fresh = true
		default:
			return false
		}
	}
	return !fresh
}
