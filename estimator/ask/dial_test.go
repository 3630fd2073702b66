package ask_test

import (
	"fmt"
	"testing"

	"elbowroom/estimator/ask"
)

// A dial shows what the file says, and leaves the other end of a span as it stands
// there, where that tells the same alone.
func TestDialsAsWritten(t *testing.T) {
	const text = "board: m7-480-sdram\nsample_rate: 48 kHz\nblock_size: 48\ntempo: %s\nnodes:\n  k: {block: knob}\n  in: {block: audio-in}\n" +
		"  echo: {block: delay, from: in, %s}\n  out: {block: audio-out, from: echo}\n"
	for _, tt := range []struct {
		tempo, time string
		end         ask.End
		given, half string // with the other value at 1/2
	}{
		{"60 bpm", "time: 3/8", ask.Single, "3/8", "1/2"},
		{"60 bpm", "time: {from: k, span: 1/8..3/8}", ask.Far, "3/8", "1/8..1/2"},
		{"60 bpm", "time: {from: k, span: 1/8..3/8}", ask.Near, "1/8", "1/2..3/8"},
		// 1/8 at 120 beats a minute is 250 ms.
		{"60..120 bpm", "time: {from: k, span: 1/8..3/8}", ask.Far, "3/8", "0.25 s..1/2"},
		// The near end leaves its unit to the far end: 100 ms x 48 kHz.
		{"60 bpm", "time: {from: k, span: 100..300 ms}", ask.Near, "4800 samples", "1/2..300 ms"},
		{"60 bpm", "time: {from: k, span: 100..300 ms}", ask.Far, "300 ms", "0.1 s..1/2"},
	} {
		e := estimated(t, "echo.yaml", fmt.Sprintf(text, tt.tempo, tt.time))
		for _, d := range ask.Dials(e.Graph) {
			if d.Name == "echo.time" && d.End == tt.end {
				if got, half := d.Given(), d.Written("1/2"); got != tt.given || half != tt.half {
					t.Errorf("%s at %s: end %d shows '%s' and is turned to '%s', want '%s' and '%s'", tt.time, tt.tempo, tt.end, got, half, tt.given, tt.half)
				}
			}
		}
	}
}
