// FIR filter: y[n] = h0 x[n] + h1 x[n-1] + ... + h(N-1) x[n-N+1]; a symmetric list shares each multiplication between
// two taps (any text on digital filters).
#include "kernel.h"

#if !defined(SYMMETRY_NONE) && !defined(SYMMETRY_SYMMETRIC)
#error "fir: define SYMMETRY_NONE or SYMMETRY_SYMMETRIC"
#endif

typedef struct {
  uint32_t taps;
  uint32_t design; // 1 to 64
} fir_params;

// The history of a channel is a ring of as many samples as there are taps. It is filled downwards, so that the samples
// grow older from the newest upwards.
typedef struct {
  float *history;
  const float *coefficients;
  uint32_t taps;
  uint32_t newest;
} fir_state;

uint32_t fir_state_bytes(const kernel_env *env, const fir_params *p) {
  (void)env, (void)p;
  return sizeof(fir_state);
}

uint32_t fir_buffer_bytes(const kernel_env *env, const fir_params *p, uint32_t buffer) {
  (void)buffer;
  return p->taps * sizeof(float) * env->channels;
}

KERNEL_INLINE uint32_t fir_coefficients(const fir_params *p) {
#ifdef SYMMETRY_SYMMETRIC
  return (p->taps + 1) / 2;
#else
  return p->taps;
#endif
}

uint32_t fir_table_bytes(const kernel_env *env, const fir_params *p, uint32_t table) {
  (void)env, (void)table;
  return fir_coefficients(p) * sizeof(float);
}

// Lists to try the filter with, scaled to a gain of 1 at rest. Symmetric: a Hamming window over the sinc of a lowpass at
// design / 128 of the sample rate. None: 1 / (k + design). A list is made once, away from the signal, in double
// precision.
void fir_table_fill(const kernel_env *env, const fir_params *p, uint32_t table, void *at) {
  (void)env, (void)table;
  const uint32_t count = fir_coefficients(p);
  float *h = at;
  double sum = 0;
  for (uint32_t k = 0; k < count; k++) {
#ifdef SYMMETRY_SYMMETRIC
    const double pi = 3.14159265358979323846;
    const double from_middle = k - 0.5 * (p->taps - 1);
    const double turn = pi * from_middle * p->design / 64;
    const double sinc = turn != 0 ? sin(turn) / turn : 1;
    const double window = p->taps > 1 ? 0.54 - 0.46 * cos(2 * pi * k / (p->taps - 1)) : 1;
    h[k] = (float)(sinc * window);
    sum += 2 * k + 1 < p->taps ? 2 * (double)h[k] : (double)h[k];
#else
    h[k] = 1.0f / (float)(k + p->design);
    sum += (double)h[k];
#endif
  }
  for (uint32_t k = 0; k < count; k++)
    h[k] = (float)(h[k] / sum);
}

void fir_start(fir_state *s, const kernel_env *env, const fir_params *p, void *const buffers[]) {
  (void)env;
  s->history = buffers[0];
  s->coefficients = buffers[1];
  s->taps = p->taps;
  s->newest = 0;
}

KERNEL_INLINE uint32_t fir_least(uint32_t a, uint32_t b) {
  return a < b ? a : b;
}

// The weighted sum of a ring whose newest sample lies at `newest`. The taps run in two stretches between which the ring
// closes, so that no tap tests for it.
KERNEL_INLINE float fir_sum(const float *h, const float *ring, uint32_t taps, uint32_t newest) {
  const float *end = ring + taps;
  const float *young = ring + newest;
  real sum = 0;
#ifdef SYMMETRY_SYMMETRIC
  // The young end runs up and the old end down, and only one of them passes the end of the ring before they meet.
  const float *old = young;
  uint32_t pairs = taps / 2;
  uint32_t stretch = fir_least(pairs, fir_least(newest, taps - newest));
  for (uint32_t turn = 0; turn < 2; turn++) {
    for (uint32_t k = 0; k < stretch; k++)
      sum += *h++ * ((real)*young++ + *--old);
    if (young == end)
      young = ring;
    if (old == ring)
      old = end;
    pairs -= stretch;
    stretch = pairs;
  }
  if (taps % 2)
    sum += *h * (real)*young;
#else
  while (young < end)
    sum += *h++ * (real)*young++;
  for (young = ring; young < ring + newest;)
    sum += *h++ * (real)*young++;
#endif
  return (float)sum;
}

KERNEL_INLINE void fir_run(fir_state *s, const kernel_env *env, const float *const in[], float *const out[],
                           uint32_t n) {
  const uint32_t taps = s->taps;
  const float *h = s->coefficients;
  uint32_t newest = s->newest;
  for (uint32_t c = 0; c < env->channels; c++) {
    const float *x = in[c];
    float *y = out[c];
    float *ring = s->history + c * taps;
    newest = s->newest;
    for (uint32_t i = 0; i < n; i++) {
      newest = (newest ? newest : taps) - 1;
      ring[newest] = x[i];
      y[i] = fir_sum(h, ring, taps, newest);
    }
  }
  s->newest = newest;
}
KERNEL_BLOCK(fir)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal.
void fir_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-38f : 1.0f);
}
#endif
