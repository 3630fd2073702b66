// Library functions and, on cores without a float unit, arithmetic, over a vector
// of operands. What the loop itself takes is timed apart.
#include <math.h>
#include <stdint.h>

#define MOST 256

static float x[MOST], angle[MOST], y[MOST], z[MOST];
static double dx[MOST], dy[MOST], dz[MOST];

// Operands from 0.5 to 2 of either sign, angles from 0 to a whole turn, each even.
void prepare(uint32_t n) {
  (void)n;
  uint32_t seed = 1;
  for (int i = 0; i < MOST; i++) {
    seed = seed * 1664525u + 1013904223u;
    x[i] = (0.5f + 1.5f * (float)(seed >> 8) / 16777216.0f) * (seed & 16 ? 1.0f : -1.0f);
    angle[i] = 6.2831853f * (float)((seed * 48271u) >> 8) / 16777216.0f;
    seed = seed * 1664525u + 1013904223u;
    y[i] = (0.5f + 1.5f * (float)(seed >> 8) / 16777216.0f) * (seed & 16 ? 1.0f : -1.0f);
    dx[i] = (double)x[i] * 1.0000000123456789;
    dy[i] = (double)y[i] * 1.0000000123456789;
  }
}

// The loops without the arithmetic: two words read, or four, and one or two kept.
void timed_bare(uint32_t n) {
  const uint32_t *a = (const uint32_t *)x, *b = (const uint32_t *)y;
  uint32_t *c = (uint32_t *)z;
  for (uint32_t i = 0; i < n; i++) {
    uint32_t v = a[i], w = b[i];
    __asm__ volatile("" : "+r"(v) : "r"(w));
    c[i] = v;
  }
}

void timed_bare_one(uint32_t n) {
  const uint32_t *a = (const uint32_t *)x;
  uint32_t *c = (uint32_t *)z;
  for (uint32_t i = 0; i < n; i++) {
    uint32_t v = a[i];
    __asm__ volatile("" : "+r"(v));
    c[i] = v;
  }
}

void timed_bare_double(uint32_t n) {
  const uint64_t *a = (const uint64_t *)dx, *b = (const uint64_t *)dy;
  uint64_t *c = (uint64_t *)dz;
  for (uint32_t i = 0; i < n; i++) {
    uint64_t v = a[i], w = b[i];
    __asm__ volatile("" : "+r"(v) : "r"(w));
    c[i] = v;
  }
}

#define ONE(name, call)                                                                                                \
  void timed_##name(uint32_t n) {                                                                                      \
    for (uint32_t i = 0; i < n; i++)                                                                                   \
      z[i] = call;                                                                                                     \
  }
#define TWO(name, call)                                                                                                \
  void timed_##name(uint32_t n) {                                                                                      \
    for (uint32_t i = 0; i < n; i++)                                                                                   \
      dz[i] = call;                                                                                                    \
  }
ONE(add, x[i] + y[i])
ONE(sub, x[i] - y[i])
ONE(mul, x[i] * y[i])
ONE(div, x[i] / y[i])
ONE(sqrt, sqrtf(angle[i]))
ONE(cos, cosf(angle[i]))
ONE(sin, sinf(angle[i]))
ONE(tan, tanf(angle[i]))
ONE(atan2, atan2f(x[i], y[i]))
ONE(exp, expf(x[i]))
ONE(log, logf(angle[i]))
TWO(double_add, dx[i] + dy[i])
TWO(double_mul, dx[i] * dy[i])
TWO(double_div, dx[i] / dy[i])
