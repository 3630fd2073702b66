// Half-band lowpass of two chains of allpasses, H(z) = (A(z^2) + B(z^2) / z) / 2, each allpass y[n] = a (x[n] - y[n-1]) + x[n-1]
// at half the rate of H; a change of the rate by 2 runs them there. The coefficients are those of an elliptic half-band
// filter (R. Valenzuela and A. Constantinides, Digital Signal Processing Schemes for Efficient Interpolation and Decimation,
// IEE Proceedings 130(6), 1983, from memory) for a transition of 1/20 of the rate of H, worked out by ourselves: 54, 80 and
// 107 dB with 4, 6 and 8 allpasses from 0.275 of that rate on.
#ifndef HALFBAND_H
#define HALFBAND_H

#include "kernel.h"

#if HALFBAND_ALLPASSES == 4
#define HALFBAND_FIRST 0.120732118f, 0.663202022f
#define HALFBAND_SECOND 0.390362187f, 0.890786833f
#elif HALFBAND_ALLPASSES == 6
#define HALFBAND_FIRST 0.060297391f, 0.412590720f, 0.772715654f
#define HALFBAND_SECOND 0.215971445f, 0.604358626f, 0.923886139f
#elif HALFBAND_ALLPASSES == 8
#define HALFBAND_FIRST 0.035832788f, 0.272040143f, 0.572057197f, 0.827124762f
#define HALFBAND_SECOND 0.134090142f, 0.424324871f, 0.706292142f, 0.941503094f
#else
#error "define HALFBAND_ALLPASSES as 4, 6 or 8"
#endif

enum { halfband_length = HALFBAND_ALLPASSES / 2 }; // of a chain

static const float halfband_first[halfband_length] = {HALFBAND_FIRST};
static const float halfband_second[halfband_length] = {HALFBAND_SECOND};

// What a chain keeps of its sample before: the input, and every allpass's output.
typedef struct {
  float input, output[halfband_length];
} halfband_chain;

KERNEL_INLINE real halfband_pass(const float coefficient[], halfband_chain *chain, real x) {
  real before = chain->input;
  chain->input = (float)x;
  for (int k = 0; k < halfband_length; k++) {
    const real last = chain->output[k];
    x = coefficient[k] * (x - last) + before;
    chain->output[k] = (float)x;
    before = last;
  }
  return x;
}

#endif
