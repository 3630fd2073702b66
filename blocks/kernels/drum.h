// What drums share: a level that a trigger sets to 1 and that falls by 60 dB in its time, level[n] = level[n-1]
// exp(-ln 1000 / (time rate)), a sine, and a filter of two poles in transposed direct form II, whose coefficients are
// those of R. Bristow-Johnson's cookbook.
#ifndef DRUM_H
#define DRUM_H

#include "phase.h"

// What a level is multiplied by at each sample.
KERNEL_INLINE float drum_factor(const kernel_env *env, real seconds) {
  return (float)kernel_exp((real)-6.90775527898 / (seconds * env->sample_rate)); // ln 1000
}

// Below -100 dB a fall is over: it would go on for ever, in denormals at last.
KERNEL_INLINE float drum_fall(real level, real factor) {
  const real fallen = level * factor;
  return fallen < (real)1e-5 ? 0 : (float)fallen;
}

// Odd polynomial of degree 5 on a quarter turn, a minimax fit of our own by Remez exchange; greatest error 6.8e-5.
KERNEL_INLINE real drum_sine(uint32_t phase) {
  // The second and third quarter are mirrored onto the fourth and first: there the two upper bits differ.
  if ((phase ^ phase << 1) & 0x80000000u)
    phase = 0x80000000u - phase;
  const real quarters = (real)(int32_t)phase * (real)(1.0 / 1073741824.0);
  const real square = quarters * quarters;
  return quarters * ((real)1.57032001916 + square * ((real)-0.642113167011 + square * (real)0.0718608542515));
}

// A parabola to either half of a turn; greatest error 0.056.
KERNEL_INLINE real drum_parabola(uint32_t phase) {
  const real quarters = (real)(int32_t)phase * (real)(1.0 / 1073741824.0);
  return quarters * (2 - kernel_abs(quarters));
}

// Of the numerator only the first coefficient is kept: the others are 0 and -gain of a bandpass, -2 gain and gain of a
// highpass.
typedef struct {
  float gain, first, second; // b0, a1, a2
  float near, far;           // what comes in with the next sample, and with the one after
} drum_filter;

KERNEL_INLINE void drum_filter_set(drum_filter *f, const kernel_env *env, real cutoff, real q, int highpass) {
  const real turn = 2 * kernel_pi * cutoff / env->sample_rate;
  const real cosine = kernel_cos(turn), alpha = kernel_sin(turn) / (2 * q);
  const real scale = 1 / (1 + alpha);
  f->gain = (float)(scale * (highpass ? (1 + cosine) / 2 : alpha));
  f->first = (float)(-2 * cosine * scale);
  f->second = (float)((1 - alpha) * scale);
}

KERNEL_INLINE real drum_highpass(drum_filter *f, real x) {
  const real in = f->gain * x;
  const real y = in + f->near;
  f->near = (float)(f->far - 2 * in - f->first * y);
  f->far = (float)(in - f->second * y);
  return y;
}

KERNEL_INLINE real drum_bandpass(drum_filter *f, real x) {
  const real in = f->gain * x;
  const real y = in + f->near;
  f->near = (float)(f->far - f->first * y);
  f->far = (float)(-in - f->second * y);
  return y;
}

#endif
