// One-pole filter: y[n] = y[n-1] + a (x[n] - y[n-1]), a = 1 - exp(-2 pi cutoff / sample rate); the high response is what
// the low one leaves, x[n] - y[n] (any text on digital filters).
#include "kernel.h"

#if !defined(RESPONSE_LOW) && !defined(RESPONSE_HIGH)
#error "one-pole: define RESPONSE_LOW or RESPONSE_HIGH"
#endif

typedef struct {
  float cutoff; // hertz
} one_pole_params;

typedef struct {
  float coefficient;
  float memory[]; // last low output, one a channel
} one_pole_state;

uint32_t one_pole_state_bytes(const kernel_env *env, const one_pole_params *p) {
  (void)p;
  return sizeof(one_pole_state) + env->channels * sizeof(float);
}

KERNEL_INLINE real one_pole_coefficient(real radians) {
  return (real)1 - kernel_exp(-radians);
}

void one_pole_update_coefficient(one_pole_state *s, const kernel_env *env, const one_pole_params *p) {
  s->coefficient = (float)one_pole_coefficient(2 * kernel_pi / env->sample_rate * p->cutoff);
}

void one_pole_start(one_pole_state *s, const kernel_env *env, const one_pole_params *p, void *const buffers[]) {
  (void)buffers;
  one_pole_update_coefficient(s, env, p);
  for (uint32_t c = 0; c < env->channels; c++)
    s->memory[c] = 0;
}

KERNEL_INLINE float one_pole_step(float *memory, real coefficient, real x) {
  real low = *memory + coefficient * (x - *memory);
  *memory = (float)low;
#ifdef RESPONSE_HIGH
  return (float)(x - low);
#else
  return (float)low;
#endif
}

KERNEL_INLINE void one_pole_run(one_pole_state *s, const kernel_env *env, const float *const in[], float *const out[],
                                uint32_t n) {
  const uint32_t channels = env->channels;
#ifdef MOVED_CUTOFF_AUDIO
  // Sample by sample, since all channels share the costly coefficient.
  const float *cutoff = in[channels];
  const real radians_per_hertz = 2 * kernel_pi / env->sample_rate;
  for (uint32_t i = 0; i < n; i++) {
    const real coefficient = one_pole_coefficient(radians_per_hertz * cutoff[i]);
    for (uint32_t c = 0; c < channels; c++)
      out[c][i] = one_pole_step(&s->memory[c], coefficient, in[c][i]);
  }
#else
  const real coefficient = s->coefficient;
  for (uint32_t c = 0; c < channels; c++) {
    const float *x = in[c];
    float *y = out[c];
    float memory = s->memory[c];
    for (uint32_t i = 0; i < n; i++)
      y[i] = one_pole_step(&memory, coefficient, x[i]);
    s->memory[c] = memory;
  }
#endif
}
KERNEL_BLOCK(one_pole)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal; the costliest cutoffs are those that the exponential reduces most.
void one_pole_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  if (channel == KERNEL_MOVED) {
    kernel_ramp(x, n, costliest ? 19000.0f : 200.0f, costliest ? 20000.0f : 2000.0f);
    return;
  }
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-38f : 1.0f);
}
#endif
