// Small loops over a vector: a Goertzel resonator, and the magnitudes of complex
// values, unrolled by four as a vendor's library does (from memory).
#include <math.h>
#include <stdint.h>

#define MOST 64

static float x[2 * MOST], y[MOST];
static float coefficient = 1.2f, state[2];

void prepare(uint32_t n) {
  (void)n;
  uint32_t seed = 1;
  for (int i = 0; i < 2 * MOST; i++) {
    seed = seed * 1664525u + 1013904223u;
    x[i] = (float)(int32_t)seed * (1.0f / 2147483648.0f);
  }
}

void timed_goertzel(uint32_t n) {
  const float c = coefficient;
  float s1 = state[0], s2 = state[1];
  for (uint32_t i = 0; i < n; i++) {
    float s0 = x[i] + c * s1 - s2;
    s2 = s1;
    s1 = s0;
  }
  state[0] = s1, state[1] = s2;
}

void timed_magnitude(uint32_t n) {
  const float *in = x;
  float *out = y;
  for (uint32_t turns = n / 4; turns > 0; turns--)
    for (int i = 0; i < 4; i++) {
      float re = *in++, im = *in++;
      *out++ = sqrtf(re * re + im * im);
    }
}

void timed_squared(uint32_t n) {
  const float *in = x;
  float *out = y;
  for (uint32_t turns = n / 4; turns > 0; turns--)
    for (int i = 0; i < 4; i++) {
      float re = *in++, im = *in++;
      *out++ = re * re + im * im;
    }
}
