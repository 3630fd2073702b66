// Fourier transform of a frame of real samples, by a complex transform of half the length: J. Cooley and J. Tukey,
// Mathematics of Computation 19, 1965, radix 2, decimated in time; real frames as even and odd samples side by side,
// W. Press et al., Numerical Recipes, chapter 12 (both from memory).
#ifndef FOURIER_H
#define FOURIER_H

#include "kernel.h"

// What falls due at known samples stands by itself, so that a block without it does not carry it along.
#define FOURIER_HOP __attribute__((noinline))

// Cosine and sine of k / points turns, k below points / 2.
static inline void fourier_fill(float *turns, uint32_t points) {
  for (uint32_t k = 0; k < points / 2; k++) {
    turns[2 * k] = (float)cos(6.283185307179586 * k / points);
    turns[2 * k + 1] = (float)sin(6.283185307179586 * k / points);
  }
}

// Transforms points / 2 complex numbers in place, every second float of re and im. With re and im exchanged it is the
// inverse, times points / 2.
static __attribute__((noinline)) void fourier_complex(float *re, float *im, const float *turns, uint32_t points) {
  const uint32_t half = points / 2;
  for (uint32_t i = 1, j = 0; i < half; i++) { // into the order of reversed bits
    uint32_t bit = half / 2;
    for (; j & bit; bit /= 2)
      j ^= bit;
    j ^= bit;
    if (i < j) {
      const float r = re[2 * i], q = im[2 * i];
      re[2 * i] = re[2 * j], im[2 * i] = im[2 * j];
      re[2 * j] = r, im[2 * j] = q;
    }
  }
  for (uint32_t i = 0; i < points; i += 4) { // pairs, whose turn is 1
    const real r = re[i], q = im[i], a = re[i + 2], b = im[i + 2];
    re[i] = (float)(r + a), im[i] = (float)(q + b);
    re[i + 2] = (float)(r - a), im[i + 2] = (float)(q - b);
  }
  for (uint32_t length = 4; length <= half; length *= 2) {
    const uint32_t step = points / length; // in the turns
    for (uint32_t j = 0; j < length / 2; j++) {
      const real c = turns[2 * j * step], s = turns[2 * j * step + 1];
      for (uint32_t i = 2 * j; i < points; i += 2 * length) {
        const uint32_t o = i + length;
        const real x = re[o], y = im[o];
        const real a = c * x + s * y, b = c * y - s * x;
        const real r = re[i], q = im[i];
        re[i] = (float)(r + a), im[i] = (float)(q + b);
        re[o] = (float)(r - a), im[o] = (float)(q - b);
      }
    }
  }
}

// Transforms points real samples in place. Bin k stands at 2 k, its imaginary part behind it; the bin of half the
// sample rate, which is real too, stands at 1.
static __attribute__((noinline)) void fourier_forward(float *x, const float *turns, uint32_t points) {
  fourier_complex(x, x + 1, turns, points);
  const real first = x[0], second = x[1];
  x[0] = (float)(first + second), x[1] = (float)(first - second);
  for (uint32_t i = 2; i <= points / 2; i += 2) {
    const uint32_t j = points - i;
    const real c = turns[i], s = turns[i + 1];
    const real er = (real)0.5 * ((real)x[i] + (real)x[j]), ei = (real)0.5 * ((real)x[i + 1] - (real)x[j + 1]);
    const real odd = (real)0.5 * ((real)x[i + 1] + (real)x[j + 1]), oi = (real)0.5 * ((real)x[j] - (real)x[i]);
    const real a = odd * c + oi * s, b = oi * c - odd * s;
    x[i] = (float)(er + a), x[i + 1] = (float)(ei + b);
    x[j] = (float)(er - a), x[j + 1] = (float)(b - ei);
  }
}

// Transforms bins back into samples in place, times points / 2.
static __attribute__((noinline)) void fourier_inverse(float *x, const float *turns, uint32_t points) {
  const real first = x[0], second = x[1];
  x[0] = (float)((real)0.5 * (first + second)), x[1] = (float)((real)0.5 * (first - second));
  for (uint32_t i = 2; i <= points / 2; i += 2) {
    const uint32_t j = points - i;
    const real c = turns[i], s = turns[i + 1];
    const real er = (real)0.5 * ((real)x[i] + (real)x[j]), ei = (real)0.5 * ((real)x[i + 1] - (real)x[j + 1]);
    const real dr = (real)0.5 * ((real)x[i] - (real)x[j]), di = (real)0.5 * ((real)x[i + 1] + (real)x[j + 1]);
    const real odd = dr * c - di * s, oi = di * c + dr * s;
    x[i] = (float)(er - oi), x[i + 1] = (float)(ei + odd);
    x[j] = (float)(er + oi), x[j + 1] = (float)(odd - ei);
  }
  fourier_complex(x + 1, x, turns, points);
}

#endif
