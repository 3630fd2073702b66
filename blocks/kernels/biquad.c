// Biquad cascade: y[n] = b0 x[n] + b1 x[n-1] + b2 x[n-2] - a1 y[n-1] - a2 y[n-2], once a stage, in direct form I or
// transposed direct form II; coefficients of R. Bristow-Johnson, Cookbook formulae for audio EQ biquad filter
// coefficients.
#include "kernel.h"

#if defined(FORM_DIRECT)
enum { biquad_memories = 4 }; // x[n-1], x[n-2], y[n-1], y[n-2]
#elif defined(FORM_TRANSPOSED)
enum { biquad_memories = 2 };
#else
#error "biquad: define FORM_DIRECT or FORM_TRANSPOSED"
#endif

typedef struct {
  uint32_t stages;
  float cutoff; // hertz
  float q;
  float gain; // decibels
} biquad_params;

typedef struct {
  float b0, b1, b2, a1, a2;
} biquad_coefficients;

// A stage is its coefficients and then the memory of every channel.
typedef struct {
  uint32_t stages;
  float stage[];
} biquad_state;

enum { biquad_words = sizeof(biquad_coefficients) / sizeof(float) };

KERNEL_INLINE uint32_t biquad_stage_words(const kernel_env *env) {
  return biquad_words + biquad_memories * env->channels;
}

uint32_t biquad_state_bytes(const kernel_env *env, const biquad_params *p) {
  return sizeof(biquad_state) + p->stages * biquad_stage_words(env) * sizeof(float);
}

void biquad_update_coefficients(biquad_state *s, const kernel_env *env, const biquad_params *p) {
  const real angle = 2 * kernel_pi / env->sample_rate * p->cutoff;
  const real cosine = kernel_cos(angle);
  const real alpha = kernel_sin(angle) / (2 * (real)p->q);
  real b0, b1, b2, a0, a1, a2;
#if defined(RESPONSE_LOWPASS)
  b1 = 1 - cosine;
  b0 = b1 / 2;
  b2 = b0;
  a0 = 1 + alpha;
  a1 = -2 * cosine;
  a2 = 1 - alpha;
#elif defined(RESPONSE_HIGHPASS)
  b1 = -1 - cosine;
  b0 = -b1 / 2;
  b2 = b0;
  a0 = 1 + alpha;
  a1 = -2 * cosine;
  a2 = 1 - alpha;
#elif defined(RESPONSE_BANDPASS) // with a peak of 0 dB
  b0 = alpha;
  b1 = 0;
  b2 = -alpha;
  a0 = 1 + alpha;
  a1 = -2 * cosine;
  a2 = 1 - alpha;
#elif defined(RESPONSE_NOTCH)
  b0 = 1;
  b1 = -2 * cosine;
  b2 = 1;
  a0 = 1 + alpha;
  a1 = b1;
  a2 = 1 - alpha;
#elif defined(RESPONSE_PEAK)
  const real amplitude = kernel_pow(10, p->gain / 40);
  b0 = 1 + alpha * amplitude;
  b1 = -2 * cosine;
  b2 = 1 - alpha * amplitude;
  a0 = 1 + alpha / amplitude;
  a1 = b1;
  a2 = 1 - alpha / amplitude;
#elif defined(RESPONSE_LOW_SHELF) || defined(RESPONSE_HIGH_SHELF)
  // A high shelf is a low shelf of the opposite cosine, with the middle coefficients turned over.
#ifdef RESPONSE_LOW_SHELF
  const real side = 1;
#else
  const real side = -1;
#endif
  const real amplitude = kernel_pow(10, p->gain / 40);
  const real slope = 2 * kernel_sqrt(amplitude) * alpha;
  const real above = amplitude + 1, below = amplitude - 1;
  const real tilt = side * cosine;
  b0 = amplitude * (above - below * tilt + slope);
  b1 = side * 2 * amplitude * (below - above * tilt);
  b2 = amplitude * (above - below * tilt - slope);
  a0 = above + below * tilt + slope;
  a1 = -side * 2 * (below + above * tilt);
  a2 = above + below * tilt - slope;
#else
#error "biquad: define a RESPONSE_"
#endif
  const real scale = 1 / a0;
  const biquad_coefficients all = {(float)(b0 * scale), (float)(b1 * scale), (float)(b2 * scale), (float)(a1 * scale),
                                   (float)(a2 * scale)};
  for (uint32_t k = 0; k < s->stages; k++)
    *(biquad_coefficients *)&s->stage[k * biquad_stage_words(env)] = all;
}

void biquad_start(biquad_state *s, const kernel_env *env, const biquad_params *p, void *const buffers[]) {
  (void)buffers;
  s->stages = p->stages;
  for (uint32_t i = 0; i < p->stages * biquad_stage_words(env); i++)
    s->stage[i] = 0;
  biquad_update_coefficients(s, env, p);
}

// One stage over the block: the first reads the input, the others work in place on the output.
KERNEL_INLINE void biquad_stage(const biquad_coefficients *k, float memory[], const float *x, float *y, uint32_t n) {
  const real b0 = k->b0, b1 = k->b1, b2 = k->b2, a1 = k->a1, a2 = k->a2;
#ifdef FORM_DIRECT
  float x1 = memory[0], x2 = memory[1], y1 = memory[2], y2 = memory[3];
  for (uint32_t i = 0; i < n; i++) {
    const float x0 = x[i];
    const float y0 = (float)(b0 * x0 + b1 * x1 + b2 * x2 - a1 * y1 - a2 * y2);
    x2 = x1;
    x1 = x0;
    y2 = y1;
    y1 = y0;
    y[i] = y0;
  }
  memory[0] = x1;
  memory[1] = x2;
  memory[2] = y1;
  memory[3] = y2;
#else
  float s1 = memory[0], s2 = memory[1];
  for (uint32_t i = 0; i < n; i++) {
    const real x0 = x[i];
    const real y0 = b0 * x0 + s1;
    s1 = (float)(b1 * x0 - a1 * y0 + s2);
    s2 = (float)(b2 * x0 - a2 * y0);
    y[i] = (float)y0;
  }
  memory[0] = s1;
  memory[1] = s2;
#endif
}

KERNEL_INLINE void biquad_run(biquad_state *s, const kernel_env *env, const float *const in[], float *const out[],
                              uint32_t n) {
  const uint32_t stride = biquad_stage_words(env);
  for (uint32_t c = 0; c < env->channels; c++) {
    const float *x = in[c];
    float *stage = s->stage;
    for (uint32_t k = 0; k < s->stages; k++) {
      biquad_stage((const biquad_coefficients *)stage, stage + biquad_words + biquad_memories * c, x, out[c], n);
      x = out[c];
      stage += stride;
    }
  }
}
KERNEL_BLOCK(biquad)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal.
void biquad_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-38f : 1.0f);
}
#endif
