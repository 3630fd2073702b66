package blocks

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestBytesPrint(t *testing.T) {
	tests := []struct {
		in             Bytes
		exact, up, low string
		why            string
	}{
		{0, "0 B", "0 B", "0 B", "nothing"},
		{812, "812 B", "812 B", "812 B", "small"},
		{1023, "1 023 B", "1 023 B", "1 023 B", "the last below 1 KiB"},
		{1024, "1 KiB", "1 KiB", "1 KiB", "crux: 1 KiB"},
		{1025, "1 025 B", "1.01 KiB", "1.00 KiB", "one over"},
		{1536, "1.50 KiB", "1.50 KiB", "1.50 KiB", "exact in three figures"},
		{10239, "10 239 B", "10.0 KiB", "9.99 KiB", "crux: one below 10 KiB, where a decimal goes"},
		{10240, "10 KiB", "10 KiB", "10 KiB", "10 KiB"},
		{65535, "65 535 B", "64.0 KiB", "63.9 KiB", "one below a bank of 64 KiB"},
		{65536, "64 KiB", "64 KiB", "64 KiB", "a bank of 64 KiB"},
		{65537, "65 537 B", "64.1 KiB", "64.0 KiB", "one over a bank of 64 KiB"},
		{102399, "102 399 B", "100 KiB", "99.9 KiB", "crux: one below 100 KiB, where the last decimal goes"},
		{102912, "100.50 KiB", "101 KiB", "100 KiB", "crux: 100.5 KiB has no place for a decimal"},
		{134400, "131.25 KiB", "132 KiB", "131 KiB", "dsp.md 5.1: 350 ms of stereo float32 at 48 kHz"},
		{1023 * 1024, "1 023 KiB", "1 023 KiB", "1 023 KiB", "the last whole KiB below 1 MiB"},
		{1023*1024 + 1, "1 047 553 B", "1.00 MiB", "1 023 KiB", "crux: rounds up into the next unit"},
		{1<<20 - 1, "1 048 575 B", "1.00 MiB", "1 023 KiB", "one below 1 MiB"},
		{1 << 20, "1 MiB", "1 MiB", "1 MiB", "1 MiB"},
		{1<<20 + 1, "1 048 577 B", "1.01 MiB", "1.00 MiB", "one over 1 MiB"},
		{1<<20 + 1024, "1 025 KiB", "1.01 MiB", "1.00 MiB", "whole KiB over 1 MiB"},
		{3 << 19, "1.50 MiB", "1.50 MiB", "1.50 MiB", "exact in three figures"},
		{1025 << 20, "1 025 MiB", "1 025 MiB", "1 025 MiB", "no larger unit"},
		{-65537, "-65 537 B", "-64.0 KiB", "-64.1 KiB", "below zero, up is towards zero"},
		{math.MinInt64, "-8 796 093 022 208 MiB", "-8 796 093 022 208 MiB", "-8 796 093 022 208 MiB", "its negation does not exist"},
		{math.MaxInt64, "9 223 372 036 854 775 807 B", "8 796 093 022 208 MiB", "8 796 093 022 207 MiB", "the largest"},
	}
	for _, tt := range tests {
		if got := tt.in.String(); got != tt.exact {
			t.Errorf("%d bytes print as %q, want %q (%s)", int64(tt.in), got, tt.exact, tt.why)
		}
		if got := tt.in.Up(); got != tt.up {
			t.Errorf("%d bytes round up to %q, want %q (%s)", int64(tt.in), got, tt.up, tt.why)
		}
		if got := tt.in.Down(); got != tt.low {
			t.Errorf("%d bytes round down to %q, want %q (%s)", int64(tt.in), got, tt.low, tt.why)
		}
	}
}

func TestCyclesPrint(t *testing.T) {
	tests := []struct {
		in   Cycles
		want string
	}{
		{0, "0 cycles"},
		{0.004, "0.004 cycles"},
		{1, "1 cycle"},
		{1.5, "1.5 cycles"},
		{14.56, "14.6 cycles"},
		{Cycles(math.Nextafter(99.95, 0)), "99.9 cycles"}, // crux: one decimal goes
		{Cycles(math.Nextafter(99.95, 100)), "100 cycles"},
		{151.4, "151 cycles"},
		{Cycles(math.Nextafter(999.5, 0)), "999 cycles"}, // crux: the first group
		{999.5, "1 000 cycles"},
		{48000, "48 000 cycles"},
		{1234567.8, "1 234 568 cycles"},
		{-48000, "-48 000 cycles"},
		{1e-6, "0.000001 cycles"}, // crux: the last without an exponent
		{1e-9, "1e-09 cycles"},
		{Cycles(math.Inf(1)), "+Inf cycles"},
	}
	for _, tt := range tests {
		if got := tt.in.String(); got != tt.want {
			t.Errorf("%v cycles print as %q, want %q", float64(tt.in), got, tt.want)
		}
	}
}

func TestHertzPrint(t *testing.T) {
	tests := []struct {
		in   Hertz
		want string
	}{
		{0, "0 Hz"},
		{0.5, "0.5 Hz"},
		{440, "440 Hz"},
		{261.625565, "261.63 Hz"},
		{Hertz(math.Nextafter(999.995, 0) - 1e-9), "999.99 Hz"}, // crux: kHz begins where five figures reach 1000
		{999.996, "1 kHz"},
		{1000, "1 kHz"},
		{11025, "11.025 kHz"},
		{44100, "44.1 kHz"},
		{48000, "48 kHz"},
		{999994, "999.99 kHz"},
		{999996, "1 MHz"},
		{480e6, "480 MHz"},
		{1.2e9, "1 200 MHz"},
		{-440, "-440 Hz"},
	}
	for _, tt := range tests {
		if got := tt.in.String(); got != tt.want {
			t.Errorf("%v hertz print as %q, want %q", float64(tt.in), got, tt.want)
		}
	}
}

func TestSecondsPrint(t *testing.T) {
	tests := []struct {
		in   Seconds
		want string
	}{
		{0, "0 s"},
		{2.0833e-9, "0.00208 µs"},
		{20.8333e-6, "20.8 µs"},
		{999.4e-6, "999 µs"},
		{999.6e-6, "1 ms"}, // crux: ms begins where three figures reach 1000
		{0.001, "1 ms"},
		{0.35, "350 ms"},
		{0.9994, "999 ms"},
		{Seconds(math.Nextafter(0.9995, 0)), "999 ms"}, // crux: s begins
		{Seconds(math.Nextafter(0.9995, 1)), "1 s"},
		{1, "1 s"},
		{1.2, "1.2 s"},
		{60, "60 s"},
		{349.525, "350 s"},
		{3600, "3 600 s"},
		{-0.35, "-350 ms"},
	}
	for _, tt := range tests {
		if got := tt.in.String(); got != tt.want {
			t.Errorf("%v seconds print as %q, want %q", float64(tt.in), got, tt.want)
		}
	}
}

func TestPercent(t *testing.T) {
	tests := []struct {
		share float64
		want  string
		why   string
	}{
		{0, "0 %", "nothing"},
		{0.0004, "0.04 %", "small"},
		{0.00123, "0.12 %", "two figures below one percent"},
		{math.Nextafter(0.00995, 0) - 1e-12, "0.99 %", "crux: the last below 1.0"},
		{0.00995 + 1e-12, "1.0 %", "crux: two figures reach 1"},
		{0.01, "1.0 %", "one decimal from here on"},
		{0.624, "62.4 %", "plain"},
		{0.9994, "99.9 %", "rounds down by itself"},
		{0.9997, "99.9 %", "below 100 stays below"},
		{math.Nextafter(1, 0), "99.9 %", "crux: the float below 1"},
		{1, "100 %", "crux: exactly full"},
		{math.Nextafter(1, 2), "100.1 %", "crux: the float above 1"},
		{1.0002, "100.1 %", "above 100 stays above"},
		{1.0006, "100.1 %", "rounds up by itself"},
		{1.032, "103.2 %", "plain"},
		{-0.624, "-62.4 %", "below zero"},
	}
	for _, tt := range tests {
		if got := Percent(tt.share); got != tt.want {
			t.Errorf("a share of %v prints as %q, want %q (%s)", tt.share, got, tt.want, tt.why)
		}
	}
}

func TestUnitFormat(t *testing.T) {
	tests := []struct {
		unit  Unit
		value float64
		want  string
	}{
		{UnitCount, 2048, "2048"},
		{UnitRatio, 0.7, "0.7"},
		{UnitTime, 0.35, "0.35 s"},
		{UnitFrequency, 44100, "44100 Hz"},
		{UnitBytes, 65536, "65536 B"},
		{UnitCycles, 120, "120 cycles"},
		{UnitNone, 3, "3"},
		{Unit(200), 3, "3"},
	}
	for _, tt := range tests {
		if got := tt.unit.Format(tt.value); got != tt.want {
			t.Errorf("%v of kind %v prints as %q, want %q", tt.value, tt.unit, got, tt.want)
		}
	}
}

func TestUnitRounded(t *testing.T) {
	tests := []struct {
		unit  Unit
		value float64
		want  string
	}{
		{UnitTime, 1.0 / 48000, "20.8 µs"}, // a sample at 48 kHz
		{UnitTime, 60, "60 s"},
		{UnitFrequency, 44100, "44.1 kHz"},
		{UnitBytes, 65536, "64 KiB"},
		{UnitCount, 48000, "48 000"},
		{UnitCount, -12000, "-12 000"},
		{UnitRatio, 0.7, "0.7"},
	}
	for _, tt := range tests {
		if got := tt.unit.Rounded(tt.value); got != tt.want {
			t.Errorf("%v of kind %v prints as %q, want %q", tt.value, tt.unit, got, tt.want)
		}
	}
}

// parsed reads back what was printed and fails the test if it cannot.
func parsed(t *rapid.T, text string, unit Unit) float64 {
	got, err := Parse(text, unit, Timebase{})
	if err != nil {
		t.Fatalf("%q was printed but is refused as %v: %v", text, unit, err)
	}
	return got.Low
}

// someBytes favours the neighbourhood of round amounts, where rounding errs.
func someBytes(t *rapid.T, name string) Bytes {
	round := rapid.SampledFrom([]int64{1, 256, 1024, 10240, 65536, 102400, 1 << 20, 10 << 20, 1 << 26}).Draw(t, name+" unit")
	count := rapid.Int64Range(0, 1100).Draw(t, name+" count")
	return Bytes(max(0, round*count+rapid.Int64Range(-2, 2).Draw(t, name+" offset")))
}

func TestBytesReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := someBytes(t, "bytes")
		if got := Bytes(parsed(t, b.String(), UnitBytes)); got != b {
			t.Fatalf("%d bytes print as %q, which reads back as %d", int64(b), b, int64(got))
		}
	})
}

// amount reads a rounded amount, which need not be whole in bytes.
func amount(t *rapid.T, text string) float64 {
	at := strings.LastIndexByte(text, ' ')
	scale := map[string]float64{"B": 1, "KiB": 1024, "MiB": 1024 * 1024}[text[at+1:]]
	x, err := strconv.ParseFloat(strings.ReplaceAll(text[:at], " ", ""), 64)
	if err != nil || scale == 0 {
		t.Fatalf("%q is no amount of bytes: %v", text, err)
	}
	return x * scale
}

func TestUsedAndLimitNeverLookEqualWhenOver(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		limit := someBytes(t, "limit")
		used := limit + Bytes(rapid.Int64Range(1, 2000).Draw(t, "over"))
		if used.Up() == limit.Down() || amount(t, used.Up()) <= amount(t, limit.Down()) {
			t.Fatalf("%d bytes used of %d print as %q of %q, which looks as if they fit", int64(used), int64(limit), used.Up(), limit.Down())
		}
		if up := amount(t, used.Up()); up < float64(used) || up > float64(used)*1.01+0.001 {
			t.Fatalf("%d bytes round up to %q, which is not within one percent above", int64(used), used.Up())
		}
		if down := amount(t, used.Down()); down > float64(used) || down < float64(used)*0.99 {
			t.Fatalf("%d bytes round down to %q, which is not within one percent below", int64(used), used.Down())
		}
	})
}

func TestPrintedValuesReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.Float64Range(1e-6, 1e9).Draw(t, "value")
		whole := math.Trunc(x)
		if got := parsed(t, Cycles(whole).String(), UnitCycles); whole >= 100 && got != whole {
			t.Fatalf("%v cycles print as %q, which reads back as %v", whole, Cycles(whole), got)
		}
		// Half a unit of the last of 3, 5 and 3 figures, of which the first may be 1.
		for _, printed := range []struct {
			text  string
			unit  Unit
			error float64
		}{
			{Cycles(x).String(), UnitCycles, 0.005},
			{Hertz(x).String(), UnitFrequency, 0.00005},
			{Seconds(x).String(), UnitTime, 0.005},
		} {
			if got := parsed(t, printed.text, printed.unit); math.Abs(got/x-1) > printed.error*1.000001 {
				t.Fatalf("%v prints as %q, which reads back as %v", x, printed.text, got)
			}
		}
	})
}

// A time of three figures and a frequency of five lose nothing.
func TestShortValuesReadBackExactly(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		time := fmt.Sprintf("%d %s", rapid.IntRange(1, 999).Draw(t, "time"), rapid.SampledFrom([]string{"us", "ms", "s"}).Draw(t, "time unit"))
		seconds := parsed(t, time, UnitTime)
		if got := parsed(t, Seconds(seconds).String(), UnitTime); got != seconds {
			t.Fatalf("%s prints as %q, which reads back as %v s", time, Seconds(seconds), got)
		}
		rate := float64(rapid.IntRange(1, 99999).Draw(t, "rate"))
		if got := parsed(t, Hertz(rate).String(), UnitFrequency); got != rate {
			t.Fatalf("%v Hz prints as %q, which reads back as %v Hz", rate, Hertz(rate), got)
		}
	})
}

func TestFormatReadsBackExactly(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		unit := Unit(rapid.IntRange(int(UnitRatio), int(UnitCycles)).Draw(t, "unit"))
		value := rapid.Float64Range(1e-300, 1e300).Draw(t, "value")
		if kinds[unit].whole {
			value = float64(rapid.Int64Range(0, largestWhole).Draw(t, "whole"))
		}
		if got := parsed(t, unit.Format(value), unit); got != value {
			t.Fatalf("%v %v is formatted as %q, which reads back as %v", value, unit, unit.Format(value), got)
		}
	})
}

func TestPercentKeepsToItsSideOfFull(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		share := rapid.OneOf(rapid.Float64Range(0, 3), rapid.Float64Range(0.999, 1.001)).Draw(t, "share")
		shown := parsed(t, Percent(share), UnitRatio)
		if shown < 1 != (share < 1) || shown > 1 != (share > 1) {
			t.Fatalf("a share of %v prints as %q, which is on another side of 100 %%", share, Percent(share))
		}
	})
}
