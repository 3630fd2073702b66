// Crossfade between two sounds on every channel: y[n] = g0 a[n] + g1 b[n]. Equal power g0 = cos(p pi / 2),
// g1 = sin(p pi / 2); linear g1 = p, g0 = 1 - p.
#include "kernel.h"

#if !defined(LAW_EQUAL_POWER) && !defined(LAW_LINEAR)
#error "crossfade: define LAW_EQUAL_POWER or LAW_LINEAR"
#endif

typedef struct {
  float position; // 0 the first sound to 1 the second
} crossfade_params;

typedef struct {
  float first, second; // gains
} crossfade_state;

uint32_t crossfade_state_bytes(const kernel_env *env, const crossfade_params *p) {
  (void)env, (void)p;
  return sizeof(crossfade_state);
}

KERNEL_INLINE void crossfade_gains(real position, real *first, real *second) {
#ifdef LAW_EQUAL_POWER
  const real angle = position * (kernel_pi / 2);
  *first = kernel_cos(angle);
  *second = kernel_sin(angle);
#else
  *second = position;
  *first = 1 - position;
#endif
}

void crossfade_update_gains(crossfade_state *s, const kernel_env *env, const crossfade_params *p) {
  (void)env;
  real first, second;
  crossfade_gains(p->position, &first, &second);
  s->first = (float)first;
  s->second = (float)second;
}

void crossfade_start(crossfade_state *s, const kernel_env *env, const crossfade_params *p, void *const buffers[]) {
  (void)buffers;
  crossfade_update_gains(s, env, p);
}

KERNEL_INLINE void crossfade_run(crossfade_state *s, const kernel_env *env, const float *const in[], float *const out[],
                                 uint32_t n) {
  const uint32_t channels = env->channels;
  const real first = s->first, second = s->second;
  for (uint32_t c = 0; c < channels; c++) {
    const float *a = in[c], *b = in[channels + c];
    float *y = out[c];
    for (uint32_t i = 0; i < n; i++)
      y[i] = (float)(first * a[i] + second * b[i]);
  }
}
KERNEL_BLOCK(crossfade)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal.
void crossfade_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-38f : 1.0f);
}
#endif
