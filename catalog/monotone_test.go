package catalog_test

import (
	"fmt"
	"testing"

	"elbowroom/blocks"
	"elbowroom/catalog"
)

// load is what a use needs before anything is placed: bytes of data, and cycles
// a second in the mean and at worst.
type load struct{ bytes, mean, worst float64 }

func loadOf(t *testing.T, use *blocks.Use, core *blocks.Core) load {
	t.Helper()
	d, err := use.Demand(core)
	if err != nil {
		t.Fatal(err)
	}
	l := load{bytes: float64(d.State)}
	for _, b := range d.Buffers {
		l.bytes += float64(b.Bytes)
	}
	for _, table := range d.Tables {
		if table.Copied {
			l.bytes += float64(table.Bytes)
		}
	}
	persecond := float64(use.SampleRate) / float64(use.BlockSize)
	l.mean, l.worst = d.Mean.Value*persecond, d.Worst.Value*persecond
	for _, h := range d.Hops {
		l.worst += h.Cycles.Value * float64(use.SampleRate) / h.Every
	}
	return l
}

// lighter tells of what a use needs less than another; "": of nothing.
func (l load) lighter(than load) string {
	const slack = 1e-9
	switch {
	case l.bytes < than.bytes:
		return fmt.Sprintf("%g bytes, before %g", l.bytes, than.bytes)
	case l.mean < than.mean*(1-slack):
		return fmt.Sprintf("%g cycles a second in the mean, before %g", l.mean, than.mean)
	case l.worst < than.worst*(1-slack):
		return fmt.Sprintf("%g cycles a second at worst, before %g", l.worst, than.worst)
	}
	return ""
}

// Longer times and larger counts never need less, over the whole range of every
// such parameter of every block on every core. There is no exception.
func TestLongerIsNeverLighter(t *testing.T) {
	lib, err := catalog.Open()
	if err != nil {
		t.Fatal(err)
	}
	const steps = 16
	checked := 0
	for _, coreName := range lib.CoreNames() {
		core, err := lib.Core(coreName)
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range lib.BlockNames() {
			b, err := lib.Block(name)
			if err != nil {
				t.Fatal(err)
			}
			for i := range b.Params {
				p := &b.Params[i]
				if p.Unit != blocks.UnitTime && p.Unit != blocks.UnitCount {
					continue
				}
				use := b.DefaultUse(48000, 48)
				limits, _ := p.At(48000)
				before, have := load{}, false
				for k := range steps + 1 {
					v := limits.Low + (limits.High-limits.Low)*float64(k)/steps
					if p.Unit == blocks.UnitCount {
						v = float64(int(v))
					}
					use.Settings[i].Span = blocks.Span{Low: v, High: v}
					now := loadOf(t, use, core)
					if less := now.lighter(before); have && less != "" {
						t.Errorf("%s.%s at %s takes less on %s than at the value before: %s", name, p.Name, p.Unit.Format(v), coreName, less)
						break
					}
					before, have = now, true
					checked++
				}
			}
		}
	}
	if checked < 1000 {
		t.Errorf("only %d steps were looked at, too few to show anything", checked)
	}
}

// A higher sample rate never needs less of any block.
func TestHigherRateIsNeverLighter(t *testing.T) {
	lib, err := catalog.Open()
	if err != nil {
		t.Fatal(err)
	}
	for _, coreName := range lib.CoreNames() {
		core, err := lib.Core(coreName)
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range lib.BlockNames() {
			b, err := lib.Block(name)
			if err != nil {
				t.Fatal(err)
			}
			before, have := load{}, false
			for _, rate := range []blocks.Hertz{8000, 16000, 22050, 32000, 44100, 48000, 64000, 88200, 96000, 192000} {
				now := loadOf(t, b.DefaultUse(rate, 48), core)
				if less := now.lighter(before); have && less != "" {
					t.Errorf("%s at %v takes less on %s than at the rate before: %s", name, rate, coreName, less)
					break
				}
				before, have = now, true
			}
		}
	}
}
