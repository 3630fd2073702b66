package blocks

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// at48k is the timebase of most tests: 48 kHz and no tempo.
var at48k = Timebase{SampleRate: 48000}

// near compares to nine figures; published tables print fewer and say so.
func near(got, want float64) bool {
	return math.Abs(got-want) <= 1e-9*math.Max(1e-9, math.Abs(want))
}

func TestParse(t *testing.T) {
	const ours = "the grammar in Parse"
	tests := []struct {
		text   string
		unit   Unit
		want   Span
		source string
	}{
		{"350 ms", UnitTime, Span{0.35, 0.35}, "1000 ms to the second"},
		{"350ms", UnitTime, Span{0.35, 0.35}, ours + ": the space may be left out"},
		{"  350   ms ", UnitTime, Span{0.35, 0.35}, ours + ": more spaces do no harm"},
		{"1.2 s", UnitTime, Span{1.2, 1.2}, "the base unit"},
		{".5 s", UnitTime, Span{0.5, 0.5}, ours + ": no digit before the point"},
		{"250 us", UnitTime, Span{250e-6, 250e-6}, "10^6 microseconds to the second"},
		{"250 µs", UnitTime, Span{250e-6, 250e-6}, "micro sign, U+00B5"},
		{"250 μs", UnitTime, Span{250e-6, 250e-6}, "Greek mu, U+03BC"},
		{"1 min", UnitTime, Span{60, 60}, "60 seconds to the minute"},
		{"120 samples", UnitTime, Span{0.0025, 0.0025}, "120 / 48000 s"},
		{"1 sample", UnitTime, Span{1.0 / 48000, 1.0 / 48000}, "1 / 48000 s"},
		{"0 samples..60 s", UnitTime, Span{0, 60}, "the range of a delay line in a block file"},
		{"10..480 samples", UnitTime, Span{10.0 / 48000, 0.01}, "480 / 48000 s"},
		{"3/16 @ 72 bpm", UnitTime, Span{0.625, 0.625}, "dsp.md 5.2: dotted eighth at 72 bpm is 625 ms"},
		{"3/16@72bpm", UnitTime, Span{0.625, 0.625}, "dsp.md 5.2, without spaces"},
		{"1/8..3/16 @ 72 bpm", UnitTime, Span{2.5 / 6, 0.625}, "dsp.md 5.2: eighth at 72 bpm is 416.6667 ms; the low side takes the tempo"},
		{"10 ms..3/16 @ 72 bpm", UnitTime, Span{0.01, 0.625}, "dsp.md 5.2"},
		{"1 000 ms", UnitTime, Span{1, 1}, ours + ": groups of three digits"},

		{"440 Hz", UnitFrequency, Span{440, 440}, "the base unit"},
		{"2 kHz", UnitFrequency, Span{2000, 2000}, "1000 Hz to the kHz"},
		{"44.1 kHz", UnitFrequency, Span{44100, 44100}, "1000 Hz to the kHz"},
		{"1 MHz", UnitFrequency, Span{1e6, 1e6}, "10^6 Hz to the MHz"},
		{"1.001 kHz", UnitFrequency, Span{1001, 1001}, "exactly: 1.001 * 1000 in floating point is 1000.9999999999999"},
		{"1e3 Hz", UnitFrequency, Span{1000, 1000}, "exponent"},
		{"200 Hz..8 kHz", UnitFrequency, Span{200, 8000}, "format.md"},
		{"1..8 kHz", UnitFrequency, Span{1000, 8000}, ours + ": the low side takes the unit of the high side"},
		{"20 Hz .. A4", UnitFrequency, Span{20, 440}, "ISO 16:1975"},
		{"A4..A5", UnitFrequency, Span{440, 880}, "dsp.md 5.3"},

		{"0.7", UnitRatio, Span{0.7, 0.7}, "plain number"},
		{"+0.7", UnitRatio, Span{0.7, 0.7}, ours + ": a leading plus"},
		{"-0.5", UnitRatio, Span{-0.5, -0.5}, "a feedback may invert"},
		{"20%", UnitRatio, Span{0.2, 0.2}, "percent"},
		{"62.4 %", UnitRatio, Span{0.624, 0.624}, "percent as Percent prints it"},
		{"-20 dB", UnitRatio, Span{0.1, 0.1}, "dsp.md 5.4"},
		{"0..1", UnitRatio, Span{0, 1}, "format.md"},
		{"5..20%", UnitRatio, Span{0.05, 0.2}, ours + ": the low side takes the unit of the high side"},
		{"-40..-20 dB", UnitRatio, Span{0.01, 0.1}, "dsp.md 5.4"},
		{"10%..1", UnitRatio, Span{0.1, 1}, ours + ": each end has its own unit"},
		{"1e-400", UnitRatio, Span{0, 0}, "too small for a float64 is zero, IEEE 754"},

		{"8", UnitCount, Span{8, 8}, "plain number"},
		{"0", UnitCount, Span{0, 0}, "counts begin at 0"},
		{"-0", UnitCount, Span{0, 0}, "minus zero is zero"},
		{"1e3", UnitCount, Span{1000, 1000}, "an exponent may leave a whole number"},
		{"120 samples", UnitCount, Span{120, 120}, ours + ": a count of samples"},
		{"9007199254740992", UnitCount, Span{1 << 53, 1 << 53}, "2^53, the largest allowed"},
		{"1..16", UnitCount, Span{1, 16}, "plain range"},

		{"64 KiB", UnitBytes, Span{65536, 65536}, "IEC 80000-13: 1024 B to the KiB"},
		{"2 MiB", UnitBytes, Span{2097152, 2097152}, "IEC 80000-13: 1024^2 B to the MiB"},
		{"1.5 KiB", UnitBytes, Span{1536, 1536}, "a fraction that is whole in bytes"},
		{"812 B", UnitBytes, Span{812, 812}, "the base unit"},
		{"4..64 KiB", UnitBytes, Span{4096, 65536}, ours + ": the low side takes the unit of the high side"},

		{"-6 dB", UnitDecibels, Span{-6, -6}, "the base unit"},
		{"-60..0 dB", UnitDecibels, Span{-60, 0}, ours + ": the low side takes the unit of the high side"},
		{"5 V", UnitVolts, Span{5, 5}, "the base unit"},
		{"-500 mV", UnitVolts, Span{-0.5, -0.5}, "1000 mV to the volt"},
		{"-5..5 V", UnitVolts, Span{-5, 5}, ours + ": the low side takes the unit of the high side"},
		{"7 semitones", UnitSemitones, Span{7, 7}, "the base unit"},
		{"1 semitone", UnitSemitones, Span{1, 1}, "singular"},
		{"50 cents", UnitSemitones, Span{0.5, 0.5}, "100 cents to the semitone"},
		{"-1 cent", UnitSemitones, Span{-0.01, -0.01}, "singular"},
		{"72 bpm", UnitTempo, Span{72, 72}, "the base unit"},
		{"60..140 bpm", UnitTempo, Span{60, 140}, "format.md"},
		{"120 cycles", UnitCycles, Span{120, 120}, "the base unit"},
		{"120", UnitCycles, Span{120, 120}, "plain number"},
		{"48 000 cycles", UnitCycles, Span{48000, 48000}, "as Cycles prints it"},
		{"1.5 cycles", UnitCycles, Span{1.5, 1.5}, "a mean need not be whole"},
	}
	for _, tt := range tests {
		got, err := Parse(tt.text, tt.unit, at48k)
		if err != nil {
			t.Errorf("Parse(%q) as %v fails with %q, want %v (%s)", tt.text, tt.unit, err, tt.want, tt.source)
			continue
		}
		if !near(got.Low, tt.want.Low) || !near(got.High, tt.want.High) {
			t.Errorf("Parse(%q) as %v is %v, want %v (%s)", tt.text, tt.unit, got, tt.want, tt.source)
		}
		if whole := tt.want.Low == math.Trunc(tt.want.Low); whole && tt.want.Low != got.Low {
			t.Errorf("Parse(%q) as %v is %v, want exactly %v (%s)", tt.text, tt.unit, got.Low, tt.want.Low, tt.source)
		}
		if got.Low == 0 && math.Signbit(got.Low) {
			t.Errorf("Parse(%q) as %v is minus zero, want zero: 1/x of it would be minus infinity", tt.text, tt.unit)
		}
	}
}

func TestParseRefuses(t *testing.T) {
	tests := []struct {
		text    string
		unit    Unit
		message string
		hint    string
	}{
		{"440 Hz", UnitTime, "'440 Hz' is not a time: write it like '350 ms', '120 samples' or '3/16'", ""},
		{"", UnitTime, "'' is not a time: write it like '350 ms', '120 samples' or '3/16'", ""},
		{"350", UnitTime, "'350' is not a time: write it like '350 ms', '120 samples' or '3/16'", "did you mean '350 ms'?"},
		{"-5 ms", UnitTime, "'-5 ms' is below zero, which a time cannot be", ""},
		{"dotted 1/8", UnitTime, "'dotted 1/8' is not a time: write it like '350 ms', '120 samples' or '3/16'", "did you mean '1/8 dotted'?"},
		{"1/8d", UnitTime, "'1/8d' is not a time: write it like '350 ms', '120 samples' or '3/16'", "did you mean '1/8 dotted'?"},
		{"1/8 t", UnitTime, "'1/8 t' is not a time: write it like '350 ms', '120 samples' or '3/16'", "did you mean '1/8 triplet'?"},
		{"5 m", UnitTime, "'5 m' is not a time: write it like '350 ms', '120 samples' or '3/16'", ""},
		{"5 MS", UnitTime, "'5 MS' is not a time: write it like '350 ms', '120 samples' or '3/16'", "did you mean '5 ms'?"},
		{"5 Samples", UnitTime, "'5 Samples' is not a time: write it like '350 ms', '120 samples' or '3/16'", "did you mean '5 samples'?"},
		{"1e308 min", UnitTime, "'1e308 min' is too large", ""},
		{"3/16", UnitTime, "'3/16' is a note value, and no tempo is given", "write 'tempo: 72 bpm' at the top, or '3/16 @ 72 bpm' here"},
		{"3/0 @ 72 bpm", UnitTime, "'3/0 @ 72 bpm' is no note value: both numbers must be at least 1", ""},
		{"0/4 @ 72 bpm", UnitTime, "'0/4 @ 72 bpm' is no note value: both numbers must be at least 1", ""},
		{"3/16 @ 72", UnitTime, "'72' is not a tempo: write it like '72 bpm'", "did you mean '72 bpm'?"},
		{"3/16 @", UnitTime, "'' is not a tempo: write it like '72 bpm'", ""},
		{"3/16 @ 0 bpm", UnitTime, "'0 bpm' is no tempo: it must be above zero", ""},
		{"1/4 @ 1e-320 bpm", UnitTime, "'1/4 @ 1e-320 bpm' is too large at so slow a tempo", ""},
		{"1/4 swung", UnitTime, "'1/4 swung' is not a time: write it like '350 ms', '120 samples' or '3/16'", ""},

		{"350 ms", UnitFrequency, "'350 ms' is not a frequency: write it like '440 Hz', '8 kHz', 'midi 69' or 'A4'", ""},
		{"48 khz", UnitFrequency, "'48 khz' is not a frequency: write it like '440 Hz', '8 kHz', 'midi 69' or 'A4'", "did you mean '48 kHz'?"},
		{"44.1k", UnitFrequency, "'44.1k' is not a frequency: write it like '440 Hz', '8 kHz', 'midi 69' or 'A4'", "did you mean '44.1 kHz'?"},
		{"bb3", UnitFrequency, "'bb3' is not a frequency: write it like '440 Hz', '8 kHz', 'midi 69' or 'A4'", "did you mean 'Bb3'?"},
		{"MIDI 69", UnitFrequency, "'MIDI 69' is not a frequency: write it like '440 Hz', '8 kHz', 'midi 69' or 'A4'", "did you mean 'midi 69'?"},
		{"midi 127.5", UnitFrequency, "'midi 127.5' is outside the MIDI notes, which run from 0 (C-1) to 127 (G9)", ""},
		{"Cb-1", UnitFrequency, "'Cb-1' is outside the MIDI notes, which run from 0 (C-1) to 127 (G9)", ""},
		{"G#9", UnitFrequency, "'G#9' is outside the MIDI notes, which run from 0 (C-1) to 127 (G9)", ""},
		{"midi low", UnitFrequency, "'midi low' is not a frequency: write it like '440 Hz', '8 kHz', 'midi 69' or 'A4'", ""},
		{"H4", UnitFrequency, "'H4' is not a frequency: write it like '440 Hz', '8 kHz', 'midi 69' or 'A4'", ""},
		{"8 kHz..200 Hz", UnitFrequency, "'8 kHz..200 Hz' runs backwards: '8 kHz' is above '200 Hz'", "write the lower end first"},
		{"200..8 kHz", UnitFrequency, "'200..8 kHz' runs backwards: '200 kHz' is above '8 kHz'",
			"'200' was read as '200 kHz', after '8 kHz': write both ends in full, or the lower one first"},
		{"1 Hz..2 Hz..3 Hz", UnitFrequency, "'1 Hz..2 Hz..3 Hz' has more than one '..': a range is written LOW..HIGH", ""},
		{"1 Hz..", UnitFrequency, "'' is not a frequency: write it like '440 Hz', '8 kHz', 'midi 69' or 'A4'", ""},
		{"..1 Hz", UnitFrequency, "'' is not a frequency: write it like '440 Hz', '8 kHz', 'midi 69' or 'A4'", ""},

		{"NaN", UnitRatio, "'NaN' is not a ratio: write it like '0.7', '20%' or '-6 dB'", ""},
		{"Inf", UnitRatio, "'Inf' is not a ratio: write it like '0.7', '20%' or '-6 dB'", ""},
		{"-Inf dB", UnitRatio, "'-Inf dB' is not a ratio: write it like '0.7', '20%' or '-6 dB'", ""},
		{"0x10", UnitRatio, "'0x10' is not a ratio: write it like '0.7', '20%' or '-6 dB'", ""},
		{"1_000", UnitRatio, "'1_000' is not a ratio: write it like '0.7', '20%' or '-6 dB'", ""},
		{"1e", UnitRatio, "'1e' is not a ratio: write it like '0.7', '20%' or '-6 dB'", ""},
		{"1.", UnitRatio, "'1.' is not a ratio: write it like '0.7', '20%' or '-6 dB'", ""},
		{"12 34", UnitRatio, "'12 34' is not a ratio: write it like '0.7', '20%' or '-6 dB'", ""},
		{"1e309", UnitRatio, "'1e309' is too large", ""},
		{"7000 dB", UnitRatio, "'7000 dB' is too large", ""},

		{"-1", UnitCount, "'-1' is below zero, which a count cannot be", ""},
		{"2.5", UnitCount, "'2.5' does not come to a whole number, which a count must be", ""},
		{"9007199254740994", UnitCount, "'9007199254740994' is too large", ""},
		{"8 voices", UnitCount, "'8 voices' is not a count: write it like '8' or '120 samples'", ""},

		{"64 kB", UnitBytes, "'64 kB' may mean thousands or 1024s: 'kB' is not read", "write '64 KiB', which counts in 1024s"},
		{"64KB", UnitBytes, "'64KB' may mean thousands or 1024s: 'KB' is not read", "write '64 KiB', which counts in 1024s"},
		{"2 MB", UnitBytes, "'2 MB' may mean thousands or 1024s: 'MB' is not read", "write '2 MiB', which counts in 1024s"},
		{"64 kib", UnitBytes, "'64 kib' is not an amount of memory: write it like '812 B', '64 KiB' or '2 MiB'", "did you mean '64 KiB'?"},
		{"812", UnitBytes, "'812' is not an amount of memory: write it like '812 B', '64 KiB' or '2 MiB'", "did you mean '812 B'?"},
		{"0.3 KiB", UnitBytes, "'0.3 KiB' does not come to a whole number, which an amount of memory must be", ""},
		{"-4 B", UnitBytes, "'-4 B' is below zero, which an amount of memory cannot be", ""},
		{"9007199254740994 B", UnitBytes, "'9007199254740994 B' is too large", ""},

		{"-6", UnitDecibels, "'-6' is not a level: write it like '-6 dB'", "did you mean '-6 dB'?"},
		{"\u22126\u00a0dB", UnitDecibels, "'\u22126\\u00a0dB' is not a level: write it like '-6 dB'", "did you mean '-6 dB'?"},
		{"-6 db", UnitDecibels, "'-6 db' is not a level: write it like '-6 dB'", "did you mean '-6 dB'?"},
		{"5 v", UnitVolts, "'5 v' is not a voltage: write it like '5 V' or '-500 mV'", "did you mean '5 V'?"},
		{"7", UnitSemitones, "'7' is not an interval: write it like '7 semitones' or '50 cents'", "did you mean '7 semitones'?"},
		{"120", UnitTempo, "'120' is not a tempo: write it like '72 bpm'", "did you mean '120 bpm'?"},
		{"0 bpm", UnitTempo, "'0 bpm' is no tempo: it must be above zero", ""},
		// As people write who know the trade and not the notation.
		{"0,8 kHz", UnitFrequency, "'0,8 kHz' is not a frequency: write it like '440 Hz', '8 kHz', 'midi 69' or 'A4'", "did you mean '0.8 kHz'?"},
		{"40 Hz - 160 Hz", UnitFrequency, "'40 Hz - 160 Hz' is not a frequency: write it like '440 Hz', '8 kHz', 'midi 69' or 'A4'", "did you mean '40 Hz..160 Hz'?"},
		{"40-160 Hz", UnitFrequency, "'40-160 Hz' is not a frequency: write it like '440 Hz', '8 kHz', 'midi 69' or 'A4'", "did you mean '40..160 Hz'?"},
		{"40 to 160 Hz", UnitFrequency, "'40 to 160 Hz' is not a frequency: write it like '440 Hz', '8 kHz', 'midi 69' or 'A4'", "did you mean '40..160 Hz'?"},
		{"48000", UnitFrequency, "'48000' is not a frequency: write it like '440 Hz', '8 kHz', 'midi 69' or 'A4'", "did you mean '48000 Hz'?"},
		{"3 seconds", UnitTime, "'3 seconds' is not a time: write it like '350 ms', '120 samples' or '3/16'", "did you mean '3 s'?"},
		{"5 miliseconds", UnitTime, "'5 miliseconds' is not a time: write it like '350 ms', '120 samples' or '3/16'", "did you mean '5 ms'?"},
		{"0,5 secs", UnitTime, "'0,5 secs' is not a time: write it like '350 ms', '120 samples' or '3/16'", "did you mean '0.5 s'?"},
		{"0.5", UnitTime, "'0.5' is not a time: write it like '350 ms', '120 samples' or '3/16'", "did you mean '0.5 s'?"},
		{"1/8 - 3/8", UnitTime, "'1/8 - 3/8' is not a time: write it like '350 ms', '120 samples' or '3/16'", "did you mean '1/8..3/8'?"},
		{"-1 cycles", UnitCycles, "'-1 cycles' is below zero, which an amount of cycles cannot be", ""},
		{"8", UnitNone, "'8' stands where no quantity is taken", ""},
		{"8", Unit(200), "'8' stands where no quantity is taken", ""},
		{"\x1b[2J", UnitCount, `'\x1b[2J' is not a count: write it like '8' or '120 samples'`, ""},
		{strings.Repeat("9", 201), UnitCount, "a quantity of 201 characters is too long: 200 are allowed", ""},
	}
	for _, tt := range tests {
		got, err := Parse(tt.text, tt.unit, at48k)
		var refused *QuantityError
		if !errors.As(err, &refused) {
			t.Errorf("Parse(%q) as %v is %v with error %v, want the refusal %q", tt.text, tt.unit, got, err, tt.message)
			continue
		}
		if refused.Message != tt.message {
			t.Errorf("Parse(%q) as %v says\n%s\nwant\n%s", tt.text, tt.unit, refused.Message, tt.message)
		}
		if refused.Hint() != tt.hint {
			t.Errorf("Parse(%q) as %v hints %q, want %q", tt.text, tt.unit, refused.Hint(), tt.hint)
		}
	}
}

func TestParseNeedsTheSampleRateForSamples(t *testing.T) {
	_, err := Parse("120 samples", UnitTime, Timebase{})
	const want = "'120 samples' needs the sample rate, which is not known here: write it like '2.5 ms'"
	if err == nil || err.Error() != want {
		t.Errorf("120 samples at no known rate gives error %v, want %q", err, want)
	}
	if got, err := Parse("0 samples", UnitTime, Timebase{}); err != nil || got != (Span{}) {
		t.Errorf("0 samples at no known rate is %v with error %v, want zero: it is at every rate", got, err)
	}
}

// The longest quantity allowed must still be read.
func TestParseReadsTwoHundredCharacters(t *testing.T) {
	text := strings.Repeat("0", 199) + "8"
	if got, err := Parse(text, UnitCount, Timebase{}); err != nil || got.Low != 8 {
		t.Errorf("a count of 200 digits that are all zero but the last is %v with error %v, want 8", got, err)
	}
}

func TestParseFollowsTheTempo(t *testing.T) {
	tests := []struct {
		text   string
		tempo  Span
		want   Span
		source string
	}{
		{"1/4", Span{60, 60}, Span{1, 1}, "a beat is a quarter"},
		{"3/8", Span{60, 140}, Span{1.5 * 60 / 140, 1.5}, "dsp.md 5.2: 3/8 at 60 bpm is 1500 ms"},
		{"3/8 @ 60 bpm", Span{90, 140}, Span{1.5, 1.5}, "its own tempo goes before"},
		{"1/8..1/4", Span{60, 120}, Span{0.25, 1}, "dsp.md 5.2: eighth at 120 bpm to quarter at 60"},
		{"100 ms..1/4", Span{60, 120}, Span{0.1, 1}, "dsp.md 5.2: quarter at 60 bpm"},
	}
	for _, tt := range tests {
		got, err := Parse(tt.text, UnitTime, Timebase{Tempo: tt.tempo})
		if err != nil || !near(got.Low, tt.want.Low) || !near(got.High, tt.want.High) {
			t.Errorf("%q at %v bpm is %v with error %v, want %v (%s)", tt.text, tt.tempo, got, err, tt.want, tt.source)
		}
	}

	_, err := Parse("600 ms..1/4", UnitTime, Timebase{Tempo: Span{60, 120}})
	if err == nil {
		t.Error("600 ms..1/4 at 60..120 bpm is accepted, but a quarter at 120 bpm is 500 ms (dsp.md 5.2)")
	}
}

func TestNoteValues(t *testing.T) {
	const source = "dsp.md 5.2, table, four decimals of a millisecond"
	notes := []string{"1/4", "3/16", "1/8", "1/8 triplet", "1/16", "1/1"}
	tests := []struct {
		bpm          float64
		milliseconds [6]float64
	}{
		{40, [6]float64{1500, 1125, 750, 500, 375, 6000}},
		{60, [6]float64{1000, 750, 500, 333.3333, 250, 4000}},
		{72, [6]float64{833.3333, 625, 416.6667, 277.7778, 208.3333, 3333.3333}},
		{90, [6]float64{666.6667, 500, 333.3333, 222.2222, 166.6667, 2666.6667}},
		{100, [6]float64{600, 450, 300, 200, 150, 2400}},
		{120, [6]float64{500, 375, 250, 166.6667, 125, 2000}},
		{125, [6]float64{480, 360, 240, 160, 120, 1920}},
		{140, [6]float64{428.5714, 321.4286, 214.2857, 142.8571, 107.1429, 1714.2857}},
		{174, [6]float64{344.8276, 258.6207, 172.4138, 114.9425, 86.2069, 1379.3103}},
		{240, [6]float64{250, 187.5, 125, 83.3333, 62.5, 1000}},
	}
	for _, tt := range tests {
		base := Timebase{Tempo: Span{tt.bpm, tt.bpm}}
		for i, want := range tt.milliseconds {
			got, err := Parse(notes[i], UnitTime, base)
			if err != nil || math.Abs(got.Low*1000-want) > 0.00005001 {
				t.Errorf("%s at %g bpm is %.4f ms with error %v, want %.4f ms (%s)", notes[i], tt.bpm, got.Low*1000, err, want, source)
			}
		}
		eighth, _ := Parse("1/8", UnitTime, base)
		for word, factor := range map[string]float64{"dotted": 1.5, "triplet": 2.0 / 3} {
			got, err := Parse("1/8 "+word, UnitTime, base)
			if err != nil || !near(got.Low, eighth.Low*factor) {
				t.Errorf("1/8 %s at %g bpm is %g s with error %v, want %g times %g s (dsp.md 5.2)", word, tt.bpm, got.Low, err, factor, eighth.Low)
			}
		}
		dotted, _ := Parse("1/8 dotted", UnitTime, base)
		three, _ := Parse("3/16", UnitTime, base)
		if dotted != three {
			t.Errorf("at %g bpm 1/8 dotted is %v and 3/16 is %v, want them equal (dsp.md 5.2)", tt.bpm, dotted, three)
		}
	}
}

func TestClockDivisions(t *testing.T) {
	// A clock of 1000 ms is a quarter at 60 bpm; its n-th part is the note 1/(4n).
	tests := []struct {
		division     int
		milliseconds float64
	}{
		{1, 1000}, {2, 500}, {3, 333.333}, {4, 250}, {5, 200}, {6, 166.667}, {8, 125}, {16, 62.5},
	}
	for _, tt := range tests {
		text := fmt.Sprintf("1/%d @ 60 bpm", 4*tt.division)
		got, err := Parse(text, UnitTime, Timebase{})
		if err != nil || math.Abs(got.Low*1000-tt.milliseconds) > 0.0005 {
			t.Errorf("%s is %.3f ms with error %v, want %.3f ms (dsp.md 5.2, clock divided by %d)", text, got.Low*1000, err, tt.milliseconds, tt.division)
		}
	}
}

func TestDelayLengths(t *testing.T) {
	const source = "dsp.md 5.1, table"
	rates := []string{"32 kHz", "44.1 kHz", "48 kHz", "96 kHz"}
	tests := []struct {
		time    string
		samples [4]float64
	}{
		{"10 ms", [4]float64{320, 441, 480, 960}},
		{"100 ms", [4]float64{3200, 4410, 4800, 9600}},
		{"350 ms", [4]float64{11200, 15435, 16800, 33600}},
		{"500 ms", [4]float64{16000, 22050, 24000, 48000}},
		{"1000 ms", [4]float64{32000, 44100, 48000, 96000}},
		{"2000 ms", [4]float64{64000, 88200, 96000, 192000}},
		{"10000 ms", [4]float64{320000, 441000, 480000, 960000}},
	}
	for _, tt := range tests {
		time, err := Parse(tt.time, UnitTime, Timebase{})
		if err != nil {
			t.Errorf("%s is refused: %v", tt.time, err)
			continue
		}
		for i, want := range tt.samples {
			rate, err := Parse(rates[i], UnitFrequency, Timebase{})
			if got := time.Low * rate.Low; err != nil || !near(got, want) {
				t.Errorf("%s at %s is %v samples with error %v, want %v (%s)", tt.time, rates[i], got, err, want, source)
			}
			back, err := Parse(fmt.Sprintf("%g samples", want), UnitTime, Timebase{SampleRate: Hertz(rate.Low)})
			if err != nil || !near(back.Low, time.Low) {
				t.Errorf("%g samples at %s are %v s with error %v, want %s (%s)", want, rates[i], back.Low, err, tt.time, source)
			}
		}
	}
}

func TestLongestDelays(t *testing.T) {
	const source = "dsp.md 5.1, longest mono delay at 48 kHz"
	tests := []struct {
		memory      string
		bytes       float64 // of a sample
		seconds     float64
		halfAFigure float64
	}{
		{"64 KiB", 4, 0.3413, 0.00005},
		{"64 KiB", 2, 0.6827, 0.00005},
		{"128 KiB", 4, 0.6827, 0.00005},
		{"512 KiB", 4, 2.7307, 0.00005},
		{"8 MiB", 4, 43.69, 0.005},
		{"64 MiB", 4, 349.5, 0.05},
	}
	for _, tt := range tests {
		memory, err := Parse(tt.memory, UnitBytes, Timebase{})
		samples := fmt.Sprintf("%g samples", memory.Low/tt.bytes)
		got, err2 := Parse(samples, UnitTime, at48k)
		if err := errors.Join(err, err2); err != nil || math.Abs(got.Low-tt.seconds) > tt.halfAFigure {
			t.Errorf("%s of %g-byte samples last %v s with error %v, want %v s (%s)", tt.memory, tt.bytes, got.Low, err, tt.seconds, source)
		}
	}
}

func TestPitch(t *testing.T) {
	tests := []struct {
		note   float64
		name   string
		hertz  float64
		period float64 // samples at 48 kHz
	}{
		{21, "A0", 27.5, 1745.4545},
		{24, "C1", 32.703196, 1467.7465},
		{36, "C2", 65.406391, 733.8732},
		{45, "A2", 110, 436.3636},
		{60, "C4", 261.625565, 183.4683},
		{69, "A4", 440, 109.0909},
		{81, "A5", 880, 54.5455},
		{96, "C7", 2093.004522, 22.9335},
		{108, "C8", 4186.009045, 11.4668},
		{127, "G9", 12543.853951, 3.8266},
	}
	const source = "dsp.md 5.3, table, six decimals of a hertz"
	for _, tt := range tests {
		if got := float64(MIDINote(tt.note)); math.Abs(got-tt.hertz) > 0.00000051 {
			t.Errorf("MIDI note %g is %.6f Hz, want %.6f Hz (%s)", tt.note, got, tt.hertz, source)
		}
		if got := 48000 / float64(MIDINote(tt.note)); math.Abs(got-tt.period) > 0.000051 {
			t.Errorf("the period of MIDI note %g at 48 kHz is %.4f samples, want %.4f (%s)", tt.note, got, tt.period, source)
		}
		for _, text := range []string{tt.name, fmt.Sprintf("midi %g", tt.note), fmt.Sprintf("midi%g", tt.note)} {
			got, err := Parse(text, UnitFrequency, Timebase{})
			if err != nil || got.Low != float64(MIDINote(tt.note)) || got.High != got.Low {
				t.Errorf("%q is %v with error %v, want the frequency of MIDI note %g", text, got, err, tt.note)
			}
		}
	}

	names := []struct {
		name, same string
	}{
		{"Bb3", "midi 58"}, {"C#2", "midi 37"}, {"E#4", "F4"}, {"Cb4", "B3"}, {"B#3", "C4"}, {"C-1", "midi 0"},
	}
	for _, tt := range names {
		got, err := Parse(tt.name, UnitFrequency, Timebase{})
		want, err2 := Parse(tt.same, UnitFrequency, Timebase{})
		if got != want || err != nil || err2 != nil {
			t.Errorf("%s is %v and %s is %v (errors %v, %v), want them equal with middle C, note 60, as C4", tt.name, got, tt.same, want, err, err2)
		}
	}

	cents := []struct{ cents, ratio float64 }{{1, 1.00057779}, {5, 1.00289229}, {100, 1.05946309}}
	for _, tt := range cents {
		if got := float64(MIDINote(69+tt.cents/100) / MIDINote(69)); math.Abs(got-tt.ratio) > 0.0000000051 {
			t.Errorf("%g cents are a ratio of %.8f, want %.8f (dsp.md 5.3)", tt.cents, got, tt.ratio)
		}
	}
}

func TestOctaveVolts(t *testing.T) {
	tests := []struct {
		low, high Hertz
		volts     float64
		source    string
	}{
		{440, 880, 1, "one volt an octave"},
		{MIDINote(69), MIDINote(70), 0.0833333, "dsp.md 5.3: semitone 83.3333 mV"},
		{MIDINote(69), MIDINote(69.01), 0.000833333, "dsp.md 5.3: cent 0.833333 mV"},
		{440, 440, 0, "no way to go"},
	}
	for _, tt := range tests {
		if got := OctaveVolts(Span{float64(tt.low), float64(tt.high)}); math.Abs(got-tt.volts) > 0.00000005 {
			t.Errorf("%v to %v is %.7f V, want %.7f V (%s)", tt.low, tt.high, got, tt.volts, tt.source)
		}
	}
}

func TestDecibels(t *testing.T) {
	tests := []struct{ dB, amplitude float64 }{
		{-96, 1.58489e-5}, {-60, 0.001}, {-40, 0.01}, {-20, 0.1}, {-12, 0.251189}, {-6, 0.501187},
		{-3, 0.707946}, {0, 1}, {6, 1.995262}, {12, 3.981072},
	}
	const source = "dsp.md 5.4, table, six figures"
	for _, tt := range tests {
		if got := Ratio(tt.dB); math.Abs(got/tt.amplitude-1) > 0.000005 {
			t.Errorf("%g dB is a ratio of %g, want %g (%s)", tt.dB, got, tt.amplitude, source)
		}
		if got := Decibels(tt.amplitude); math.Abs(got-tt.dB) > 0.00005 {
			t.Errorf("a ratio of %g is %g dB, want %g dB (%s)", tt.amplitude, got, tt.dB, source)
		}
		got, err := Parse(fmt.Sprintf("%g dB", tt.dB), UnitRatio, Timebase{})
		if err != nil || got.Low != Ratio(tt.dB) {
			t.Errorf("%g dB as a ratio is %v with error %v, want %g", tt.dB, got, err, Ratio(tt.dB))
		}
	}
	if got := Decibels(0); !math.IsInf(got, -1) {
		t.Errorf("a ratio of zero is %g dB, want minus infinity", got)
	}
}

func TestUnitNames(t *testing.T) {
	want := []string{"ratio", "count", "time", "frequency", "bytes", "decibels", "volts", "semitones", "tempo", "cycles"}
	if got := UnitNames(); !slices.Equal(got, want) {
		t.Errorf("the names of the units are %v, want %v", got, want)
	}
	for _, name := range want {
		if u, ok := ParseUnit(name); !ok || u.String() != name {
			t.Errorf("the unit %q is read as %v (known: %v), want its own name back", name, u, ok)
		}
	}
	for _, word := range []string{"none", "", "Time", "seconds"} {
		if u, ok := ParseUnit(word); ok || u != UnitNone {
			t.Errorf("%q is read as the unit %v, want it refused", word, u)
		}
	}
	if got := UnitNone.String(); got != "none" {
		t.Errorf("no unit prints as %q, want none", got)
	}
	if got := Unit(200).String(); got != "unit 200" {
		t.Errorf("a unit that does not exist prints as %q, want unit 200", got)
	}
}

// Any note value at any tempo that ranges is longest at the slowest.
func TestNoteValueSpansTheTempo(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		low := rapid.Float64Range(20, 300).Draw(t, "slowest")
		high := rapid.Float64Range(low, 400).Draw(t, "fastest")
		over := rapid.IntRange(1, 9999).Draw(t, "over")
		under := rapid.IntRange(1, 9999).Draw(t, "under")
		suffix := rapid.SampledFrom([]string{"", " dotted", " triplet"}).Draw(t, "suffix")
		text := fmt.Sprintf("%d/%d%s", over, under, suffix)
		got, err := Parse(text, UnitTime, Timebase{Tempo: Span{low, high}})
		if err != nil {
			t.Fatalf("%q at %g..%g bpm is refused: %v", text, low, high, err)
		}
		slow, err := Parse(fmt.Sprintf("%s @ %v bpm", text, low), UnitTime, Timebase{})
		if err != nil || slow.Low != got.High {
			t.Fatalf("%q at %g..%g bpm ends at %g s, want %g s, its length at the slowest (error %v)", text, low, high, got.High, slow.Low, err)
		}
		if got.Low > got.High {
			t.Fatalf("%q at %g..%g bpm is %v, which runs backwards", text, low, high, got)
		}
	})
}

// Any two ends make a range in one order or the other, and never in both
// unless they are equal.
func TestRangeHasOneOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		unit := Unit(rapid.IntRange(int(UnitRatio), int(UnitCycles)).Draw(t, "unit"))
		a := float64(rapid.IntRange(1, 1<<30).Draw(t, "a"))
		b := float64(rapid.IntRange(1, 1<<30).Draw(t, "b"))
		got, err := Parse(unit.Format(a)+".."+unit.Format(b), unit, Timebase{})
		if a <= b && (err != nil || got != Span{a, b}) {
			t.Fatalf("%v from %g to %g is %v with error %v, want both ends", unit, a, b, got, err)
		}
		if a > b && err == nil {
			t.Fatalf("%v from %g down to %g is accepted as %v, want a refusal", unit, a, b, got)
		}
	})
}
