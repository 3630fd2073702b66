// Knob: y[n] = y[n-1] + a (s i[n] - y[n-1]), a = 1 - exp(-1 / (smoothing rate)), once a control period; i is the word of
// the converter, s scales its greatest to 1 (any text on digital filters).
#include "kernel.h"

// A converter of 12 bits: house judgement.
static const real knob_greatest = 4095;

typedef struct {
  float smoothing; // seconds
} knob_params;

typedef struct {
  float level, coefficient;
} knob_state;

uint32_t knob_state_bytes(const kernel_env *env, const knob_params *p) {
  (void)env, (void)p;
  return sizeof(knob_state);
}

void knob_start(knob_state *s, const kernel_env *env, const knob_params *p, void *const buffers[]) {
  (void)buffers;
  s->level = 0;
  s->coefficient = (float)(1 - kernel_exp(-1 / ((real)p->smoothing * env->control_rate)));
}

void knob_tick(knob_state *s, const kernel_env *env, const float *const in[], float *const out[]) {
  (void)env;
  const real turned = (real)kernel_bits(*in[0]) * (1 / knob_greatest);
  const real level = s->level + s->coefficient * (turned - s->level);
  s->level = (float)level;
  *out[0] = (float)level;
}

#ifdef KERNEL_STIMULI
// Words of the converter; none costs more than another.
void knob_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  (void)costliest;
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_float((uint32_t)(2048.0f + 2047.0f * kernel_noise(&seed)));
}
#endif
