// Crossover after S. Linkwitz: a lowpass and a highpass with one corner, each of order 2 (two equal real poles, so Q 1/2) or of
// order 4 (two Butterworth biquads of Q 1/sqrt 2 in a row). Bilinear transform, t = tan(pi cutoff / sample rate),
//   n = 1 / (1 + t/Q + t^2), a1 = 2 (t^2 - 1) n, a2 = (1 - t/Q + t^2) n,
// and in transposed direct form II, v = n x of the highpass or n t^2 x of the lowpass, the signs those of the two:
//   y = v + s1, s1 = +-2 v - a1 y + s2, s2 = v - a2 y.
// Of order 2 the highpass is turned over, so that of either order both bands add up to an allpass.
#include "kernel.h"

#if defined(ORDER_2)
enum { crossover_stages = 1 };
static const real crossover_damping = 2;
static const real crossover_side = -1;
#elif defined(ORDER_4)
enum { crossover_stages = 2 };
static const real crossover_damping = (real)1.41421356237309504880;
static const real crossover_side = 1;
#else
#error "crossover: define ORDER_2 or ORDER_4"
#endif

typedef struct {
  float cutoff; // hertz
} crossover_params;

typedef struct {
  float s1, s2;
} crossover_stage;

// The memory of one channel.
typedef struct {
  crossover_stage low[crossover_stages], high[crossover_stages];
} crossover_memory;

typedef struct {
  float low, high; // gains ahead of each stage
  float a1, a2;
  crossover_memory memory[];
} crossover_state;

uint32_t crossover_state_bytes(const kernel_env *env, const crossover_params *p) {
  (void)p;
  return sizeof(crossover_state) + env->channels * sizeof(crossover_memory);
}

void crossover_update_coefficients(crossover_state *s, const kernel_env *env, const crossover_params *p) {
  const real t = kernel_tan(kernel_pi / env->sample_rate * p->cutoff);
  const real square = t * t, damped = crossover_damping * t;
  const real scale = 1 / (1 + damped + square);
  s->low = (float)(square * scale);
  s->high = (float)scale;
  s->a1 = (float)(2 * (square - 1) * scale);
  s->a2 = (float)((1 - damped + square) * scale);
}

void crossover_start(crossover_state *s, const kernel_env *env, const crossover_params *p, void *const buffers[]) {
  (void)buffers;
  crossover_update_coefficients(s, env, p);
  for (uint32_t c = 0; c < env->channels; c++)
    s->memory[c] = (crossover_memory){0};
}

// One stage, of the lowpass with the middle coefficient 2, of the highpass with -2.
KERNEL_INLINE real crossover_step(crossover_stage *stage, real middle, real a1, real a2, real v) {
  const real y = v + stage->s1;
  stage->s1 = (float)(middle * v - a1 * y + stage->s2);
  stage->s2 = (float)(v - a2 * y);
  return y;
}

KERNEL_INLINE void crossover_run(crossover_state *s, const kernel_env *env, const float *const in[], float *const out[],
                                 uint32_t n) {
  const uint32_t channels = env->channels;
  const real low = s->low, high = s->high, a1 = s->a1, a2 = s->a2;
  for (uint32_t c = 0; c < channels; c++) {
    const float *x = in[c];
    float *to_low = out[c], *to_high = out[channels + c];
    crossover_memory memory = s->memory[c];
    for (uint32_t i = 0; i < n; i++) {
      real below = x[i], above = crossover_side * below;
      for (int k = 0; k < crossover_stages; k++) {
        below = crossover_step(&memory.low[k], 2, a1, a2, low * below);
        above = crossover_step(&memory.high[k], -2, a1, a2, high * above);
      }
      to_low[i] = (float)below;
      to_high[i] = (float)above;
    }
    s->memory[c] = memory;
  }
}
KERNEL_BLOCK(crossover)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal.
void crossover_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-38f : 1.0f);
}
#endif
