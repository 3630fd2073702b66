package blocks

import (
	"errors"
	"math"
	"strings"
	"testing"
	"unicode"
)

// FuzzParse holds Parse to its promise: a finite span that runs upward, or a
// *QuantityError with a message; never a panic.
func FuzzParse(f *testing.F) {
	for _, text := range []string{
		"350 ms", "120 samples", "3/16 @ 72 bpm", "1/8 dotted..1/4 triplet @ 60 bpm", "0..1", "20%", "-6 dB",
		"200 Hz..8 kHz", "midi 69", "C#-1..Bb3", "64 KiB", "64 kB", "-500 mV", "50 cents", "60..140 bpm",
		"48 000 cycles", "+.5e-3", "1e999", "NaN", "0x1p-2", "....", "µs", "\xff", "1e308 min",
	} {
		for unit := UnitRatio; unit <= UnitCycles; unit++ {
			f.Add(text, uint8(unit), 48000.0, 60.0, 140.0)
		}
	}
	f.Fuzz(func(t *testing.T, text string, unit uint8, rate, slowest, fastest float64) {
		base := Timebase{SampleRate: Hertz(rate)}
		if slowest > 0 && slowest <= fastest {
			base.Tempo = Span{slowest, fastest}
		}
		got, err := Parse(text, Unit(unit), base)
		if err != nil {
			var refused *QuantityError
			if !errors.As(err, &refused) || refused.Message == "" {
				t.Fatalf("Parse(%q) as %v fails with %#v, want a *QuantityError with a message", text, Unit(unit), err)
			}
			if strings.ContainsFunc(refused.Hint(), unicode.IsControl) {
				t.Errorf("Parse(%q) as %v hints %q, want no control characters", text, Unit(unit), refused.Hint())
			}
			return
		}
		if math.IsNaN(got.Low-got.High) || math.IsInf(got.Low, 0) || math.IsInf(got.High, 0) || got.Low > got.High {
			t.Errorf("Parse(%q) as %v with %+v is %v, want two finite ends in order", text, Unit(unit), base, got)
		}
	})
}
