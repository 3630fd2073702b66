// Control voltage input: y[n] = s i[n] + o, once a control period, i the word of the converter.
#include "kernel.h"

typedef kernel_nothing cv_in_params;

typedef struct {
  float scale, offset;
} cv_in_state;

uint32_t cv_in_state_bytes(const kernel_env *env, const cv_in_params *p) {
  (void)env, (void)p;
  return sizeof(cv_in_state);
}

// A firmware measures both on its board. Until then, house judgement: 12 bits over 5 V, and 1 for a volt.
void cv_in_start(cv_in_state *s, const kernel_env *env, const cv_in_params *p, void *const buffers[]) {
  (void)env, (void)p, (void)buffers;
  s->scale = (float)(5.0 / 4096.0);
  s->offset = 0;
}

void cv_in_tick(cv_in_state *s, const kernel_env *env, const float *const in[], float *const out[]) {
  (void)env;
  *out[0] = (float)((real)s->scale * (real)kernel_bits(*in[0]) + s->offset);
}

#ifdef KERNEL_STIMULI
// Words of the converter; none costs more than another.
void cv_in_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  (void)costliest;
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_float((uint32_t)(2048.0f + 2047.0f * kernel_noise(&seed)));
}
#endif
