package blocks

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"elbowroom/blocks/source"
)

// Bytes is an amount of memory.
type Bytes int64

// Cycles is an amount of processor time in core clock cycles. It need not be
// whole: a mean over samples or instructions seldom is.
type Cycles float64

// Hertz is a frequency or a rate: how often a second.
type Hertz float64

// Seconds is a length of time.
type Seconds float64

// Unit is the kind of quantity a parameter takes. The zero value is no
// quantity at all, as for a parameter that is chosen from a list.
type Unit uint8

// The kinds of quantity, with the base unit in which Parse returns each.
const (
	UnitNone      Unit = iota
	UnitRatio          // plain number; decibels are read as an amplitude ratio
	UnitCount          // whole number from 0
	UnitTime           // seconds
	UnitFrequency      // hertz
	UnitBytes          // bytes, whole
	UnitDecibels       // decibels
	UnitVolts          // volts
	UnitSemitones      // semitones of equal temperament, twelve to the octave
	UnitTempo          // beats per minute
	UnitCycles         // core clock cycles
)

// Span is a quantity that may range, in the base unit of its kind. A single
// value has Low equal to High.
type Span struct{ Low, High float64 }

// Timebase is what times are measured against while reading.
type Timebase struct {
	SampleRate Hertz // needed by '120 samples'; zero where it is not known
	Tempo      Span  // beats per minute, needed by note values; zero where none is given
}

// QuantityError says why a quantity was refused.
type QuantityError struct {
	Text    string // the quantity, or the end of a range, that was refused
	Message string // a sentence for the reader, without capital and full stop

	hint string
	unit Unit // of what is no quantity of its kind at all; else UnitNone
}

// Error returns the message without the hint, which is shown on a line of its own.
func (e *QuantityError) Error() string { return e.Message }

// Hint says what to write instead; it may be empty.
func (e *QuantityError) Hint() string {
	if e.hint == "" && e.unit != UnitNone {
		if near := meantQuantity(e.Text, e.unit); near != "" {
			return fmt.Sprintf("did you mean %s?", quote(near))
		}
	}
	return e.hint
}

const (
	// longestQuantity is in characters. House judgement: the longest sensible
	// range is under 60, and an error should not repeat a whole page.
	longestQuantity = 200

	// largestWhole is the end of the whole numbers that a float64 holds
	// without a gap, so that bytes and counts stay exact.
	largestWhole = 1 << 53

	// beatsPerWhole quarters make a whole note; a beat is a quarter.
	beatsPerWhole = 4

	// highestNote is the last note number of MIDI 1.0, which counts from 0.
	highestNote = 127
)

// kind is what Parse knows of one Unit.
type kind struct {
	name     string // the word used in YAML
	title    string // with article, for errors
	examples string
	scales   []scale // the base unit first
	signed   bool    // whether values below zero make sense
	whole    bool
}

// scale is a unit of measure: its word, empty for a plain number, and the way
// to the base unit.
type scale struct {
	word string
	long string // how the word is spelt out, or often written; it is not read, only understood
	// power of ten. It joins the exponent of the number as written, so that
	// '1.001 kHz' is rounded once and comes to 1001 Hz, as 1.001 * 1000 does not.
	power int
	// toBase is what a power of ten cannot express; nil if nothing is left.
	toBase func(float64) float64
}

var kinds = [...]kind{
	UnitNone: {name: "none"},
	UnitRatio: {name: "ratio", title: "a ratio", examples: "'0.7', '20%' or '-6 dB'", signed: true,
		scales: []scale{{word: ""}, {word: "%", long: "percent", power: -2}, {word: "dB", long: "decibels", toBase: Ratio}}},
	UnitCount: {name: "count", title: "a count", examples: "'8' or '120 samples'", whole: true,
		scales: []scale{{word: ""}, {word: "samples"}, {word: "sample"}}},
	// Samples are not in the list: their length depends on the sample rate.
	UnitTime: {name: "time", title: "a time", examples: "'350 ms', '120 samples' or '3/16'",
		scales: []scale{{word: "s", long: "seconds"}, {word: "ms", long: "milliseconds", power: -3},
			{word: "us", long: "microseconds", power: -6}, {word: "µs", power: -6}, {word: "μs", power: -6}, // micro sign and Greek mu
			{word: "min", long: "minutes", toBase: times(60)}}},
	UnitFrequency: {name: "frequency", title: "a frequency", examples: "'440 Hz', '8 kHz', 'midi 69' or 'A4'",
		scales: []scale{{word: "Hz", long: "hertz"}, {word: "kHz", long: "kilohertz", power: 3}, {word: "MHz", long: "megahertz", power: 6}}},
	UnitBytes: {name: "bytes", title: "an amount of memory", examples: "'812 B', '64 KiB' or '2 MiB'", whole: true,
		scales: []scale{{word: "B", long: "bytes"}, {word: "KiB", toBase: times(kibibyte)}, {word: "MiB", toBase: times(mebibyte)}}},
	UnitDecibels: {name: "decibels", title: "a level", examples: "'-6 dB'", signed: true,
		scales: []scale{{word: "dB", long: "decibels"}}},
	UnitVolts: {name: "volts", title: "a voltage", examples: "'5 V' or '-500 mV'", signed: true,
		scales: []scale{{word: "V", long: "volts"}, {word: "mV", power: -3}}},
	UnitSemitones: {name: "semitones", title: "an interval", examples: "'7 semitones' or '50 cents'", signed: true,
		scales: []scale{{word: "semitones"}, {word: "semitone"}, {word: "cents", power: -2}, {word: "cent", power: -2}}},
	UnitTempo: {name: "tempo", title: "a tempo", examples: "'72 bpm'",
		scales: []scale{{word: "bpm"}}},
	UnitCycles: {name: "cycles", title: "an amount of cycles", examples: "'120 cycles' or '120'",
		scales: []scale{{word: "cycles"}, {word: "cycle"}, {word: ""}}},
}

func times(factor float64) func(float64) float64 {
	return func(x float64) float64 { return x * factor }
}

// find returns the scale of that word, which is case-sensitive.
func (k kind) find(word string) (scale, bool) {
	for _, s := range k.scales {
		if s.word == word {
			return s, true
		}
	}
	return scale{}, false
}

// String returns the word used in YAML, or 'none'.
func (u Unit) String() string {
	if int(u) < len(kinds) {
		return kinds[u].name
	}
	return fmt.Sprintf("unit %d", uint8(u))
}

// Words lists what may stand after a number of this kind; the empty word where
// the number may stand alone.
func (u Unit) Words() []string {
	var words []string
	for _, s := range kinds[u].scales {
		words = append(words, s.word)
	}
	if u == UnitTime {
		words = append(words, "samples", "sample")
	}
	return words
}

// ParseUnit returns the kind of quantity that a word of a block file names.
func ParseUnit(word string) (Unit, bool) {
	for u := UnitNone + 1; int(u) < len(kinds); u++ {
		if kinds[u].name == word {
			return u, true
		}
	}
	return UnitNone, false
}

// UnitNames lists the words that ParseUnit knows.
func UnitNames() []string {
	var names []string
	for _, k := range kinds[UnitNone+1:] {
		names = append(names, k.name)
	}
	return names
}

var (
	noteValue  = source.Lazily(`^(\d{1,4})\s*/\s*(\d{1,4})\s*(dotted|triplet)?\s*(?:@\s*(.*))?$`)
	noteNumber = source.Lazily(`^midi\s*(\d{1,3}(?:\.\d+)?)$`)
	noteName   = source.Lazily(`^([A-G])([#b]?)(-?\d{1,2})$`)
)

// Parse reads a quantity of the given kind, or a range of two joined by '..',
// and returns it in the base unit of that kind. Every error is a
// *QuantityError.
//
// Besides numbers with units a time may be a number of samples or a note value
// ('3/16', '1/8 dotted', '1/4 triplet @ 72 bpm'; a beat is a quarter), and a
// frequency may be a MIDI note number ('midi 69') or a note name ('C#2'). The
// octave of a name is not standardised; here middle C, note 60, is C4 and A4
// is 440 Hz.
//
// A note value without its own tempo follows base.Tempo: where that ranges,
// the result runs from its length at the fastest tempo to that at the slowest.
// In a range, a bare number on the low side takes the unit of the high side,
// and a note value the tempo.
func Parse(text string, unit Unit, base Timebase) (Span, error) {
	text = strings.TrimSpace(text)
	if n := utf8.RuneCountInString(text); n > longestQuantity {
		return Span{}, &QuantityError{
			Text:    text,
			Message: fmt.Sprintf("a quantity of %d characters is too long: %d are allowed", n, longestQuantity),
		}
	}
	if unit == UnitNone || int(unit) >= len(kinds) {
		return Span{}, refuse(text, "stands where no quantity is taken")
	}
	lowText, highText, ranges := strings.Cut(text, "..")
	if !ranges {
		return parseEnd(text, unit, base)
	}
	lowText, highText = strings.TrimSpace(lowText), strings.TrimSpace(highText)
	if strings.Contains(highText, "..") {
		return Span{}, refuse(text, "has more than one '..': a range is written LOW..HIGH")
	}
	high, err := parseEnd(highText, unit, base)
	if err != nil {
		return Span{}, err
	}
	complete := completeLow(lowText, highText, unit)
	low, err := parseEnd(complete, unit, base)
	if err != nil {
		return Span{}, err
	}
	// Either end may itself range with the tempo: the order must hold at both.
	if low.Low > high.Low || low.High > high.High {
		refused := refuse(text, "runs backwards: %s is above %s", quote(complete), quote(highText))
		refused.hint = "write the lower end first"
		if complete != lowText {
			refused.hint = fmt.Sprintf("%s was read as %s, after %s: write both ends in full, or the lower one first", quote(lowText), quote(complete), quote(highText))
		}
		return Span{}, refused
	}
	return Span{Low: low.Low, High: high.High}, nil
}

// completeLow gives the low end of a range what it shares with the high end:
// the unit, or the tempo of a note value.
func completeLow(low, high string, unit Unit) string {
	if bare, ok := splitDecimal(low); ok && bare.word == "" {
		if n, ok := splitDecimal(high); ok && n.word != "" {
			_, known := kinds[unit].find(n.word)
			if known || unit == UnitTime && isSamples(n.word) {
				return low + " " + n.word
			}
		}
		return low
	}
	_, tempo, given := strings.Cut(high, "@")
	if given && noteValue().MatchString(low) && !strings.Contains(low, "@") {
		return low + " @ " + strings.TrimSpace(tempo)
	}
	return low
}

// parseEnd reads one quantity, which ranges only where it follows a tempo that does.
func parseEnd(text string, unit Unit, base Timebase) (Span, error) {
	// A look at the text spares most runs from compiling the patterns.
	switch {
	case unit == UnitTime && strings.Contains(text, "/"):
		if m := noteValue().FindStringSubmatch(text); m != nil {
			return parseNoteValue(text, m, base)
		}
	case unit == UnitFrequency && strings.HasPrefix(text, "midi"):
		if m := noteNumber().FindStringSubmatch(text); m != nil {
			n, _ := strconv.ParseFloat(m[1], 64) // the pattern allows three digits and a fraction
			return noteSpan(text, n)
		}
	case unit == UnitFrequency && strings.IndexAny(text, "ABCDEFG") == 0:
		if m := noteName().FindStringSubmatch(text); m != nil {
			return noteSpan(text, noteOfName(m[1], m[2], m[3]))
		}
	}
	value, err := parseNumber(text, unit, base)
	if err != nil {
		return Span{}, err
	}
	return Span{Low: value, High: value}, nil
}

// parseNumber reads a number with the word of its unit.
func parseNumber(text string, unit Unit, base Timebase) (float64, error) {
	k := kinds[unit]
	n, ok := splitDecimal(text)
	if !ok {
		return 0, notOfKind(text, "", unit)
	}
	samples := unit == UnitTime && isSamples(n.word)
	scale, known := k.find(n.word)
	if !known && !samples {
		return 0, notOfKind(text, n.word, unit)
	}
	exponent := 0
	if n.exponent != "" {
		exponent, _ = strconv.Atoi(n.exponent) // it has four digits at most
	}
	value, err := strconv.ParseFloat(n.mantissa+"e"+strconv.Itoa(exponent+scale.power), 64)
	if err != nil {
		return 0, refuse(text, "is too large") // no other fault is left
	}
	if scale.toBase != nil {
		value = scale.toBase(value)
	}
	if samples && value != 0 { // none take no time at any rate, and block files rely on it
		if !(base.SampleRate > 0) {
			return 0, refuse(text, "needs the sample rate, which is not known here: write it like '2.5 ms'")
		}
		value /= float64(base.SampleRate)
	}
	switch {
	case math.IsInf(value, 0) || k.whole && math.Abs(value) > largestWhole:
		return 0, refuse(text, "is too large")
	case value < 0 && !k.signed:
		return 0, refuse(text, "is below zero, which %s cannot be", k.title)
	case value == 0 && unit == UnitTempo:
		return 0, refuse(text, "is no tempo: it must be above zero")
	case k.whole && value != math.Trunc(value):
		return 0, refuse(text, "does not come to a whole number, which %s must be", k.title)
	}
	return value + 0, nil // turns -0 into 0
}

func isSamples(word string) bool { return word == "samples" || word == "sample" }

// notOfKind says what was expected. The word is what stood in place of a known
// unit, if there was a number before it.
func notOfKind(text, word string, unit Unit) error {
	k := kinds[unit]
	refused := refuse(text, "is not %s: write it like %s", k.title, k.examples)
	refused.unit = unit
	if unit == UnitBytes {
		// Some read kB as 1000 bytes and some as 1024; a wrong guess would
		// hide 2 to 5 % of a bank.
		for _, unclear := range []struct{ word, clear string }{{"kB", "KiB"}, {"MB", "MiB"}} {
			if strings.EqualFold(word, unclear.word) {
				refused.Message = fmt.Sprintf("%s may mean thousands or 1024s: %s is not read", quote(text), quote(word))
				refused.hint = fmt.Sprintf("write '%s', which counts in 1024s", strings.TrimSpace(strings.TrimSuffix(text, word))+" "+unclear.clear)
				return refused
			}
		}
	}
	return refused
}

var (
	decimalComma = source.Lazily(`^([+-]?\d+),(\d+)\b`)
	noteAround   = source.Lazily(`^(dotted|triplet)\s+(\d{1,4}/\d{1,4})$`)
	noteShort    = source.Lazily(`^(\d{1,4}/\d{1,4})\s*([dt.])$`)
	dashedRange  = source.Lazily(`^(.*?\d[^-–]*?)\s*(?:-|–|\bto\b)\s*(\d.*)$`)
)

// typed puts plain characters in place of those that a word processor sets: a
// minus, a narrow or a fixed blank.
var typed = strings.NewReplacer("\u2212", "-", "\u00a0", " ", "\u202f", " ")

// meantQuantity returns what was probably meant by a text that is no quantity of
// its kind: with a point for a comma, '..' for a dash, plain characters for those
// that a word processor sets, the word of a unit for what comes near it, or with
// the unit that is missing; "" where nothing is near.
func meantQuantity(text string, unit Unit) string {
	reads := func(text string) bool {
		_, err := Parse(text, unit, Timebase{SampleRate: 48000, Tempo: Span{Low: 60, High: 60}})
		return err == nil
	}
	meant := typed.Replace(text)
	if m := noteAround().FindStringSubmatch(meant); m != nil {
		meant = m[2] + " " + m[1]
	} else if m := noteShort().FindStringSubmatch(meant); m != nil {
		meant = m[1] + map[string]string{"d": " dotted", ".": " dotted", "t": " triplet"}[m[2]]
	} else if m := decimalComma().FindStringSubmatch(meant); m != nil {
		meant = m[1] + "." + m[2] + meant[len(m[0]):]
	} else if m := dashedRange().FindStringSubmatch(meant); m != nil {
		meant = m[1] + ".." + m[2]
	}
	if n, ok := splitDecimal(meant); ok && !reads(meant) {
		number := strings.TrimSpace(strings.TrimSuffix(meant, n.word))
		meant = ""
		if word := nearestWord(number, n.word, unit); word != "" {
			meant = number + " " + word
		}
	} else if unit == UnitFrequency && meant == text && text != "" {
		meant = nearestNote(text)
	}
	if meant == text || !reads(meant) {
		return ""
	}
	return meant
}

// nearestWord is the word of the unit that a word comes near to: one that
// differs by case only, its long form, or the only one that begins so. Of no word
// it is the unit that is missing: the base unit, but for times that are more
// likely milliseconds.
func nearestWord(number, word string, unit Unit) string {
	scales := kinds[unit].scales
	if word == "" {
		const longestLikely = 30 // seconds
		if n, err := strconv.ParseFloat(number, 64); unit == UnitTime && err == nil && n > longestLikely {
			return "ms"
		}
		return scales[0].word
	}
	lower := strings.ToLower(word)
	if unit == UnitTime && isSamples(lower) {
		return lower
	}
	var long []string
	for _, s := range scales {
		if strings.EqualFold(s.word, word) {
			return s.word
		}
		if s.long != "" {
			long = append(long, s.long)
		}
	}
	near := source.Nearest(lower, long)
	if near == "" { // 'secs', 'mins'
		short := strings.TrimSuffix(lower, "s")
		if i := slices.IndexFunc(long, func(l string) bool { return len(short) > 2 && strings.HasPrefix(l, short) }); i >= 0 {
			near = long[i]
		}
	}
	for _, s := range scales {
		if near != "" && s.long == near {
			return s.word
		}
	}
	begin := ""
	for _, s := range scales {
		if strings.HasPrefix(strings.ToLower(s.word), lower) {
			if begin != "" {
				return ""
			}
			begin = s.word
		}
	}
	return begin
}

// nearestNote is a note that differs by case only, or "".
func nearestNote(text string) string {
	lower := strings.ToLower(text)
	if noteNumber().MatchString(lower) {
		return lower
	}
	if name := strings.ToUpper(lower[:1]) + lower[1:]; noteName().MatchString(name) {
		return name
	}
	return ""
}

// parseNoteValue turns a matched note value into its length at its own tempo
// or at that of the timebase.
func parseNoteValue(text string, m []string, base Timebase) (Span, error) {
	// The pattern allows four digits, so that neither can fail.
	over, _ := strconv.Atoi(m[1])
	under, _ := strconv.Atoi(m[2])
	if over == 0 || under == 0 {
		return Span{}, refuse(text, "is no note value: both numbers must be at least 1")
	}
	tempo := base.Tempo
	if strings.Contains(text, "@") {
		bpm, err := parseNumber(m[4], UnitTempo, base)
		if err != nil {
			return Span{}, err
		}
		tempo = Span{Low: bpm, High: bpm}
	}
	if !(tempo.Low > 0) {
		refused := refuse(text, "is a note value, and no tempo is given")
		refused.hint = fmt.Sprintf("write 'tempo: 72 bpm' at the top, or '%s @ 72 bpm' here", strings.TrimSpace(text))
		return Span{}, refused
	}
	// One division at the end keeps whole results whole: 60 seconds a minute
	// times the beats, over the tempo.
	above, below := 60*beatsPerWhole*float64(over), float64(under)
	switch m[3] {
	case "dotted":
		above, below = above*3, below*2
	case "triplet":
		above, below = above*2, below*3
	}
	span := Span{Low: above / (below * tempo.High), High: above / (below * tempo.Low)}
	if math.IsInf(span.High, 0) {
		return Span{}, refuse(text, "is too large at so slow a tempo")
	}
	return span, nil
}

// noteOfName returns the MIDI note number of a matched name, with C4 as 60.
func noteOfName(letter, accidental, octave string) float64 {
	semitone := map[string]int{"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}[letter]
	switch accidental {
	case "#":
		semitone++
	case "b":
		semitone--
	}
	n, _ := strconv.Atoi(octave) // the pattern allows two digits
	return float64((n+1)*12 + semitone)
}

func noteSpan(text string, n float64) (Span, error) {
	if n < 0 || n > highestNote {
		return Span{}, refuse(text, "is outside the MIDI notes, which run from 0 (C-1) to %d (G9)", highestNote)
	}
	f := float64(MIDINote(n))
	return Span{Low: f, High: f}, nil
}

// MIDINote returns the frequency of a MIDI note number in equal temperament
// with note 69 at 440 Hz (ISO 16:1975). Fractions of a note are allowed.
func MIDINote(n float64) Hertz { return Hertz(440 * math.Exp2((n-69)/12)) }

// Decibels returns the level of an amplitude ratio above zero; zero gives
// minus infinity.
func Decibels(ratio float64) float64 { return 20 * math.Log10(ratio) }

// Ratio returns the amplitude ratio of a level in decibels.
func Ratio(dB float64) float64 { return math.Pow(10, dB/20) }

// OctaveVolts returns the octaves from Low to High, which is the control
// voltage they take at one volt an octave. Both ends are frequencies above
// zero; otherwise the result is not finite.
func OctaveVolts(span Span) float64 { return math.Log2(span.High / span.Low) }

func refuse(text, format string, args ...any) *QuantityError {
	return &QuantityError{Text: text, Message: quote(text) + " " + fmt.Sprintf(format, args...)}
}

// quote shows text as the reader wrote it, save for characters that a terminal
// would act on.
func quote(text string) string {
	escaped := strconv.Quote(text)
	return "'" + strings.ReplaceAll(escaped[1:len(escaped)-1], `\"`, `"`) + "'"
}
