// Filters as a vendor's library writes them (from memory of how such libraries
// unroll; the code is our own): biquads unrolled by four, and a FIR of eight
// outputs and eight taps a turn, whose history is kept before the block and moved
// up after it.
#include <stdint.h>

#define MOST 64
#define MOST_TAPS 32

static float x[MOST], y[MOST];
static float coefficients[5] = {0.0675f, 0.1349f, 0.0675f, 1.1430f, -0.4128f};
static float state[4];
static float taps[MOST_TAPS], history[MOST + MOST_TAPS];

void prepare(uint32_t n) {
  (void)n;
  uint32_t seed = 1;
  for (int i = 0; i < MOST; i++) {
    seed = seed * 1664525u + 1013904223u;
    x[i] = (float)(int32_t)seed * (1.0f / 2147483648.0f);
  }
  for (int i = 0; i < MOST_TAPS; i++)
    taps[i] = 1.0f / (float)(i + 1);
}

void timed_direct(uint32_t n) {
  const float b0 = coefficients[0], b1 = coefficients[1], b2 = coefficients[2], a1 = coefficients[3], a2 = coefficients[4];
  float x1 = state[0], x2 = state[1], y1 = state[2], y2 = state[3];
  const float *in = x;
  float *out = y;
  for (uint32_t turns = n / 4; turns > 0; turns--) {
    float x0 = *in++;
    y2 = b0 * x0 + b1 * x1 + b2 * x2 + a1 * y1 + a2 * y2;
    *out++ = y2;
    x2 = *in++;
    y1 = b0 * x2 + b1 * x0 + b2 * x1 + a1 * y2 + a2 * y1;
    *out++ = y1;
    x1 = *in++;
    y2 = b0 * x1 + b1 * x2 + b2 * x0 + a1 * y1 + a2 * y2;
    *out++ = y2;
    x0 = *in++;
    y1 = b0 * x0 + b1 * x1 + b2 * x2 + a1 * y2 + a2 * y1;
    *out++ = y1;
    x2 = x1;
    x1 = x0;
  }
  state[0] = x1, state[1] = x2, state[2] = y1, state[3] = y2;
}

void timed_transposed(uint32_t n) {
  const float b0 = coefficients[0], b1 = coefficients[1], b2 = coefficients[2], a1 = coefficients[3], a2 = coefficients[4];
  float d1 = state[0], d2 = state[1];
  const float *in = x;
  float *out = y;
#define STEP                                                                                                           \
  {                                                                                                                    \
    float x0 = *in++, y0 = b0 * x0 + d1;                                                                               \
    d1 = b1 * x0 + a1 * y0 + d2;                                                                                       \
    d2 = b2 * x0 + a2 * y0;                                                                                            \
    *out++ = y0;                                                                                                       \
  }
  for (uint32_t turns = n / 4; turns > 0; turns--) {
    STEP STEP STEP STEP
  }
  state[0] = d1, state[1] = d2;
}

// The number of taps is not known when this is compiled.
static __attribute__((noinline, noclone)) void fir(uint32_t n, uint32_t count) {
  float *fresh = history + count - 1, *from = history;
  const float *in = x;
  float *out = y;
  for (uint32_t turns = n / 8; turns > 0; turns--) {
    for (int i = 0; i < 8; i++)
      *fresh++ = *in++;
    const float *h = from, *c = taps;
    float s0 = 0, s1 = 0, s2 = 0, s3 = 0, s4 = 0, s5 = 0, s6 = 0, s7 = 0;
    float x0 = *h++, x1 = *h++, x2 = *h++, x3 = *h++, x4 = *h++, x5 = *h++, x6 = *h++, x7;
#define TAP(a, b, d, e, f, g, i, j)                                                                                    \
  {                                                                                                                    \
    float t = *c++;                                                                                                    \
    j = *h++;                                                                                                          \
    s0 += a * t, s1 += b * t, s2 += d * t, s3 += e * t, s4 += f * t, s5 += g * t, s6 += i * t, s7 += j * t;           \
  }
    for (uint32_t left = count / 8; left > 0; left--) {
      TAP(x0, x1, x2, x3, x4, x5, x6, x7)
      TAP(x1, x2, x3, x4, x5, x6, x7, x0)
      TAP(x2, x3, x4, x5, x6, x7, x0, x1)
      TAP(x3, x4, x5, x6, x7, x0, x1, x2)
      TAP(x4, x5, x6, x7, x0, x1, x2, x3)
      TAP(x5, x6, x7, x0, x1, x2, x3, x4)
      TAP(x6, x7, x0, x1, x2, x3, x4, x5)
      TAP(x7, x0, x1, x2, x3, x4, x5, x6)
    }
    from += 8;
    *out++ = s0, *out++ = s1, *out++ = s2, *out++ = s3, *out++ = s4, *out++ = s5, *out++ = s6, *out++ = s7;
  }
  for (uint32_t i = 0; i < count - 1; i++)
    history[i] = from[i];
}

void timed_fir8(uint32_t n) { fir(n, 8); }
void timed_fir16(uint32_t n) { fir(n, 16); }
void timed_fir32(uint32_t n) { fir(n, 32); }
