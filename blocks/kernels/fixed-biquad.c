// Biquad cascade in fixed point: y[n] = b0 x[n] + b1 x[n-1] + b2 x[n-2] - a1 y[n-1] - a2 y[n-2], once a stage, in direct
// form I; coefficients of R. Bristow-Johnson, Cookbook formulae for audio EQ biquad filter coefficients. Signals have
// three bits above full scale (Q3.28 in Arm's notation, from memory) and are held there. The five products of a stage are
// summed in sixty-four bits and rounded once, which is why the cookbook recommends this form. Coefficients are scaled down
// together by a power of two, so far that no sum overflows on the way.
#define WORD_Q31
#include "fixed.h"

// Five products fill a sum, so coefficients have two places to spare.
enum { fixed_biquad_headroom = 3, fixed_biquad_spare = 2 };

typedef struct {
  uint32_t stages;
  float cutoff; // hertz
  float q;
  float gain; // decibels
} fixed_biquad_params;

typedef struct {
  int32_t x1, x2, y1, y2;
} fixed_biquad_memory;

typedef struct {
  uint32_t stages;
  int32_t raise; // places by which a sum is raised again
  int32_t b0, b1, b2, a1, a2; // of a with the other sign
  fixed_biquad_memory memory[]; // of every stage, channels together
} fixed_biquad_state;

uint32_t fixed_biquad_state_bytes(const kernel_env *env, const fixed_biquad_params *p) {
  return sizeof(fixed_biquad_state) + p->stages * env->channels * sizeof(fixed_biquad_memory);
}

void fixed_biquad_update_coefficients(fixed_biquad_state *s, const kernel_env *env, const fixed_biquad_params *p) {
  const real angle = 2 * kernel_pi / env->sample_rate * p->cutoff;
  const real cosine = kernel_cos(angle);
  const real alpha = kernel_sin(angle) / (2 * (real)p->q);
#if defined(RESPONSE_LOWPASS)
  const real b1 = 1 - cosine, b0 = b1 / 2, b2 = b0, a0 = 1 + alpha, a1 = -2 * cosine, a2 = 1 - alpha;
#elif defined(RESPONSE_HIGHPASS)
  const real b1 = -1 - cosine, b0 = -b1 / 2, b2 = b0, a0 = 1 + alpha, a1 = -2 * cosine, a2 = 1 - alpha;
#elif defined(RESPONSE_BANDPASS) // with a peak of 0 dB
  const real b0 = alpha, b1 = 0, b2 = -alpha, a0 = 1 + alpha, a1 = -2 * cosine, a2 = 1 - alpha;
#elif defined(RESPONSE_NOTCH)
  const real b0 = 1, b1 = -2 * cosine, b2 = 1, a0 = 1 + alpha, a1 = b1, a2 = 1 - alpha;
#elif defined(RESPONSE_PEAK)
  const real amplitude = kernel_pow(10, p->gain / 40);
  const real b0 = 1 + alpha * amplitude, b1 = -2 * cosine, b2 = 1 - alpha * amplitude;
  const real a0 = 1 + alpha / amplitude, a1 = b1, a2 = 1 - alpha / amplitude;
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
  const real b0 = amplitude * (above - below * tilt + slope);
  const real b1 = side * 2 * amplitude * (below - above * tilt);
  const real b2 = amplitude * (above - below * tilt - slope);
  const real a0 = above + below * tilt + slope;
  const real a1 = -side * 2 * (below + above * tilt);
  const real a2 = above + below * tilt - slope;
#else
#error "fixed-biquad: define a RESPONSE_"
#endif
  const real scale = 1 / a0;
  const float exact[] = {(float)(b0 * scale), (float)(b1 * scale), (float)(b2 * scale), (float)(-a1 * scale),
                         (float)(-a2 * scale)};
  int32_t raise = 0;
  for (int k = 0; k < 5; k++) {
    const int32_t needed = fixed_factor_of(exact[k]).raise;
    raise = needed > raise ? needed : raise;
  }
  raise += fixed_biquad_spare;
  s->raise = raise;
  s->b0 = fixed_scaled(exact[0], raise);
  s->b1 = fixed_scaled(exact[1], raise);
  s->b2 = fixed_scaled(exact[2], raise);
  s->a1 = fixed_scaled(exact[3], raise);
  s->a2 = fixed_scaled(exact[4], raise);
}

void fixed_biquad_start(fixed_biquad_state *s, const kernel_env *env, const fixed_biquad_params *p,
                        void *const buffers[]) {
  (void)buffers;
  s->stages = p->stages;
  for (uint32_t i = 0; i < p->stages * env->channels; i++)
    s->memory[i] = (fixed_biquad_memory){0};
  fixed_biquad_update_coefficients(s, env, p);
}

// The product of two words in full. Armv6-M multiplies to thirty-two bits alone, and four such products of halves give the
// same bits sooner than a routine for sixty-four.
KERNEL_INLINE int64_t fixed_biquad_product(int32_t a, int32_t b) {
#if __ARM_ARCH_6M__ || defined(FIXED_BY_HALVES)
  const int32_t high_a = a >> 16, high_b = b >> 16;
  const uint32_t low_a = (uint32_t)a & 0xffffu, low_b = (uint32_t)b & 0xffffu, low = low_a * low_b;
  const int32_t first = high_a * (int32_t)low_b + (int32_t)(low >> 16);
  const int32_t second = high_b * (int32_t)low_a + (first & 0xffff);
  const uint32_t upper = (uint32_t)(high_a * high_b + (first >> 16) + (second >> 16));
  return (int64_t)((uint64_t)upper << 32 | ((uint32_t)second << 16 | (low & 0xffffu)));
#else
  return (int64_t)a * b;
#endif
}

// One stage over the block. Between stages the output holds words in the bits of its floats.
KERNEL_INLINE void fixed_biquad_stage(const fixed_biquad_state *s, fixed_biquad_memory *memory, float *y, uint32_t n) {
  const int32_t b0 = s->b0, b1 = s->b1, b2 = s->b2, a1 = s->a1, a2 = s->a2;
  const int32_t raise = s->raise, most = INT32_MAX >> (raise + 1);
  const int64_t half = (int64_t)1 << (30 - raise); // of a step
  int32_t x1 = memory->x1, x2 = memory->x2, y1 = memory->y1, y2 = memory->y2;
  for (uint32_t i = 0; i < n; i++) {
    const int32_t x0 = (int32_t)kernel_bits(y[i]);
    const int64_t sum = half + fixed_biquad_product(x0, b0) + fixed_biquad_product(x1, b1) +
                        fixed_biquad_product(x2, b2) + fixed_biquad_product(y1, a1) + fixed_biquad_product(y2, a2);
    const int32_t upper = (int32_t)(sum >> 32);
    x2 = x1;
    x1 = x0;
    y2 = y1;
    y1 = upper > most    ? INT32_MAX
         : upper < -most ? -INT32_MAX
                         : (int32_t)((uint32_t)upper << (raise + 1) | (uint32_t)sum >> (31 - raise));
    y[i] = kernel_float((uint32_t)y1);
  }
  *memory = (fixed_biquad_memory){x1, x2, y1, y2};
}

KERNEL_INLINE void fixed_biquad_run(fixed_biquad_state *s, const kernel_env *env, const float *const in[],
                                    float *const out[], uint32_t n) {
  fixed_biquad_memory *memory = s->memory;
  for (uint32_t c = 0; c < env->channels; c++) {
    const float *x = in[c];
    float *y = out[c];
    for (uint32_t i = 0; i < n; i++)
      y[i] = kernel_float((uint32_t)fixed_scaled(x[i], fixed_biquad_headroom));
    for (uint32_t k = 0; k < s->stages; k++)
      fixed_biquad_stage(s, memory++, y, n);
    for (uint32_t i = 0; i < n; i++)
      y[i] = fixed_unscaled((int32_t)kernel_bits(y[i]), fixed_biquad_headroom);
  }
}
KERNEL_BLOCK(fixed_biquad)

#ifdef KERNEL_STIMULI
// Softer samples shift more places; a slow square under the noise keeps the output from silence.
void fixed_biquad_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = (kernel_noise(&seed) + (i & 8 ? -1.0f : 1.0f)) * (costliest ? 0.03f : 0.4f);
}
#endif
