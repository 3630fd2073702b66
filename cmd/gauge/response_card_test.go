package main

import (
	"encoding/binary"
	"math"
	"slices"
	"testing"
)

// What lies in the halves comes out in order and begins again, for one channel
// and for two, in blocks that do and do not divide a half, and sample by sample.
func TestCardStreamPlaysBothHalves(t *testing.T) {
	t.Parallel()
	for _, format := range []string{"int16", "float32"} {
		for _, channels := range []int{1, 2} {
			for _, blockSize := range []int{48, 64} {
				// 8 ms are 384 samples: 768 bytes of 16 bits are two blocks of 512, 1536
				// of 32 bits three; two halves of them.
				size, values := 2, 2*2*512/2*channels
				if format == "float32" {
					size, values = 4, 2*3*512/4*channels
				}
				var memory []byte
				var played []float64
				for i := range values {
					if format == "int16" {
						word := int16(i*7919 - 32768)
						memory = binary.LittleEndian.AppendUint16(memory, uint16(word))
						played = append(played, float64(word)/32768)
					} else {
						v := float32(math.Sin(float64(i)))
						memory = binary.LittleEndian.AppendUint32(memory, math.Float32bits(v))
						played = append(played, float64(v))
					}
				}
				r := rendering{
					Block: "card-stream", Choices: map[string]string{"format": format}, Params: map[string]float64{"latency": 0.008},
					Channels: channels, BlockSize: blockSize, Frames: 40 * 48, Memory: map[string][]byte{"halves": memory}, Kept: "halves",
				}
				got := render(t, r)
				for c := range channels {
					for n, y := range got["out"][c] {
						if want := played[(n*channels+c)%values]; float64(y) != want {
							t.Fatalf("%s, channel %d of %d, blocks of %d: sample %d is %g, want %g of the halves.", format, c+1, channels, blockSize, n, y, want)
						}
					}
				}
				if kept := len(got["halves"][0]); kept != values*size {
					t.Errorf("%s, %d channels: the halves take %d bytes, want %d, 2 x 512 for every block begun.", format, channels, kept, values*size)
				}
				r.OneSample = true
				if one := render(t, r); !slices.EqualFunc(one["out"], got["out"], slices.Equal[[]float32]) {
					t.Errorf("%s, %d channels: one sample a call plays something else.", format, channels)
				}
			}
		}
	}
}
