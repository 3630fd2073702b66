package blocks

import (
	"math"
	"math/cmplx"
	"sync"
)

// What an interpolated read is judged by: music whose power is spread evenly
// over the octaves of this band. House judgement: pink is close to the long
// spectrum of most music, and above the band there is little of it.
const (
	musicFrom = 20.0   // Hz
	musicTo   = 5000.0 // Hz
)

// Steps of the sums over frequencies and over fractions of a sample. Twice as
// many move no result by a hundredth of a decibel.
const (
	bandSteps     = 64
	fractionSteps = 32
)

// floatSNR is what float32 leaves of any level: 24 bits, about 146 dB.
const floatSNR = 146

// readError is the power of the error of a read at a fraction d between two
// samples, against a tone of so many radians a sample. The response of the read
// is compared with that of the true delay.
//
// So many points: 1 takes the nearest sample, 2 a straight line, 4 a Hermite
// curve with the slopes of the neighbours. See T. Laakso, V. Valimaki, M.
// Karjalainen and U. Laine, Splitting the Unit Delay, IEEE Signal Processing
// Magazine 13(1), 1996 (from memory).
func readError(points int, radians, d float64) float64 {
	turn := func(samples float64) complex128 { return cmplx.Rect(1, -radians*samples) }
	var response complex128
	switch {
	case points >= 4:
		response = complex(-d/2+d*d-d*d*d/2, 0)*turn(-1) + complex(1-2.5*d*d+1.5*d*d*d, 0)*turn(0) +
			complex(d/2+2*d*d-1.5*d*d*d, 0)*turn(1) + complex(-d*d/2+d*d*d/2, 0)*turn(2)
	case points >= 2:
		response = complex(1-d, 0)*turn(0) + complex(d, 0)*turn(1)
	default:
		response = turn(math.Round(d))
	}
	e := cmplx.Abs(response - turn(d))
	return e * e
}

// meanReadError is the mean of readError over all fractions.
func meanReadError(points int, radians float64) float64 {
	sum := 0.0
	for i := range fractionSteps {
		sum += readError(points, radians, (float64(i)+0.5)/fractionSteps) / fractionSteps
	}
	return sum
}

type interpolator struct {
	points int
	rate   float64
}

var interpolators sync.Map // interpolator: float64

// interpolationSNR is the function interpolation_snr of formulas: how far the
// music in the band stands above the error of a read between samples, in
// decibels, at a sample rate in hertz.
func interpolationSNR(points, rate float64) float64 {
	key := interpolator{int(points), rate}
	if known, ok := interpolators.Load(key); ok {
		return known.(float64)
	}
	top := math.Min(musicTo, 0.45*rate)
	sum := 0.0
	for i := range bandSteps {
		f := musicFrom * math.Pow(top/musicFrom, (float64(i)+0.5)/bandSteps)
		sum += meanReadError(key.points, 2*math.Pi*f/rate) / bandSteps
	}
	snr := math.Min(floatSNR, -10*math.Log10(sum))
	interpolators.Store(key, snr)
	return snr
}
