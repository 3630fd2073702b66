// Complex Fourier transform in place by decimation in frequency: stages of radix
// 8, before them one of radix 2 or 4 where the size asks for it, and a last pass
// that undoes the reversal of the bits by a table of swaps. J. Cooley and J.
// Tukey, Mathematics of Computation 19, 1965; G. Bergland, Communications of the
// ACM 11, 1968, for radix 8. Vendors' libraries are made so (from memory); the
// code is our own.
#include <math.h>
#include <stdint.h>

#define MOST 2048

typedef struct {
  float re, im;
} number;

static number x[MOST], turns[MOST];
static uint16_t swaps[MOST], swapped;

// Makes the signal, the turns, and the table of swaps for a size.
void prepare(uint32_t n) {
  uint32_t seed = 1;
  for (int i = 0; i < MOST; i++) {
    seed = seed * 1664525u + 1013904223u;
    x[i].re = (float)(int32_t)seed * (1.0f / 2147483648.0f);
    x[i].im = -x[i].re;
    turns[i].re = (float)cos(6.283185307179586 * i / MOST);
    turns[i].im = (float)-sin(6.283185307179586 * i / MOST);
  }
  swapped = 0;
  for (uint32_t i = 0; i < n; i++) {
    uint32_t mirror = 0;
    for (uint32_t bit = 1; bit < n; bit *= 2)
      mirror = 2 * mirror + ((i & bit) != 0);
    if (i < mirror) {
      swaps[swapped++] = (uint16_t)i;
      swaps[swapped++] = (uint16_t)mirror;
    }
  }
}

#define INLINE static inline __attribute__((always_inline))

INLINE number plus(number a, number b) { return (number){a.re + b.re, a.im + b.im}; }
INLINE number minus(number a, number b) { return (number){a.re - b.re, a.im - b.im}; }
INLINE number times(number a, number b) { return (number){a.re * b.re - a.im * b.im, a.re * b.im + a.im * b.re}; }
INLINE number quarter(number a) { return (number){a.im, -a.re}; } // times -i

// One butterfly of radix 8 over p, p + step, ...; its outputs go where they make
// the order of the whole that of reversed bits.
INLINE void eight(number *p, uint32_t step, const number w[8], int turned) {
  const float half = 0.70710678118f;
  number a0 = plus(p[0], p[4 * step]), a4 = minus(p[0], p[4 * step]);
  number a1 = plus(p[step], p[5 * step]), a5 = minus(p[step], p[5 * step]);
  number a2 = plus(p[2 * step], p[6 * step]), a6 = minus(p[2 * step], p[6 * step]);
  number a3 = plus(p[3 * step], p[7 * step]), a7 = minus(p[3 * step], p[7 * step]);
  number b0 = plus(a0, a2), b2 = minus(a0, a2), b1 = plus(a1, a3), b3 = quarter(minus(a1, a3));
  number c1 = {half * (a5.re + a5.im), half * (a5.im - a5.re)};
  number c3 = {half * (a7.im - a7.re), -half * (a7.re + a7.im)};
  number c2 = quarter(a6);
  number d0 = plus(a4, c2), d2 = minus(a4, c2), d1 = plus(c1, c3), d3 = quarter(minus(c1, c3));
  number y1 = plus(d0, d1), y2 = plus(b2, b3), y3 = plus(d2, d3), y4 = minus(b0, b1);
  number y5 = minus(d0, d1), y6 = minus(b2, b3), y7 = minus(d2, d3);
  p[0] = plus(b0, b1);
  p[4 * step] = turned ? times(y1, w[1]) : y1;
  p[2 * step] = turned ? times(y2, w[2]) : y2;
  p[6 * step] = turned ? times(y3, w[3]) : y3;
  p[step] = turned ? times(y4, w[4]) : y4;
  p[5 * step] = turned ? times(y5, w[5]) : y5;
  p[3 * step] = turned ? times(y6, w[6]) : y6;
  p[7 * step] = turned ? times(y7, w[7]) : y7;
}

static void eights(number *p, uint32_t n) {
  for (uint32_t size = n; size > 1; size /= 8) {
    const uint32_t step = size / 8, apart = MOST / size;
    for (uint32_t i = 0; i < n; i += size)
      eight(p + i, step, turns, 0);
    for (uint32_t j = 1; j < step; j++) {
      number w[8];
      for (int k = 1; k < 8; k++)
        w[k] = turns[j * (uint32_t)k * apart];
      for (uint32_t i = j; i < n; i += size)
        eight(p + i, step, w, 1);
    }
  }
}

// The transform but for the order of what comes out.
static void transform(uint32_t n) {
  const uint32_t apart = MOST / n;
  uint32_t part = n;
  while (part > 8)
    part /= 8;
  const uint32_t first = part == 8 ? 1 : part; // radix of the first stage
  const uint32_t rest = n / first;
  if (first == 2)
    for (uint32_t j = 0; j < rest; j++) {
      number a = x[j], b = x[j + rest];
      x[j] = plus(a, b);
      x[j + rest] = times(minus(a, b), turns[j * apart]);
    }
  if (first == 4)
    for (uint32_t j = 0; j < rest; j++) {
      number a = plus(x[j], x[j + 2 * rest]), b = minus(x[j], x[j + 2 * rest]);
      number c = plus(x[j + rest], x[j + 3 * rest]), d = quarter(minus(x[j + rest], x[j + 3 * rest]));
      x[j] = plus(a, c);
      x[j + rest] = times(minus(a, c), turns[2 * j * apart]);
      x[j + 2 * rest] = times(plus(b, d), turns[j * apart]);
      x[j + 3 * rest] = times(minus(b, d), turns[3 * j * apart]);
    }
  for (uint32_t p = 0; p < first; p++)
    eights(x + p * rest, rest);
}

void timed_unordered(uint32_t n) { transform(n); }

void timed_ordered(uint32_t n) {
  transform(n);
  const uint16_t *s = swaps;
  for (uint32_t left = swapped / 2u; left > 0; left--) {
    number *a = &x[*s++], *b = &x[*s++];
    number kept = *a;
    *a = *b;
    *b = kept;
  }
}
