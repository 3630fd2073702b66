// Control voltage output: o[n] = round(max(0, min(m, s x[n] + b))), once a control period, o the word to the converter, m
// its greatest.
#include "kernel.h"

// A converter of 12 bits: house judgement.
static const real cv_out_greatest = 4095;

typedef kernel_nothing cv_out_params;

typedef struct {
  float scale, offset;
} cv_out_state;

uint32_t cv_out_state_bytes(const kernel_env *env, const cv_out_params *p) {
  (void)env, (void)p;
  return sizeof(cv_out_state);
}

// A firmware measures both on its board. Until then, house judgement: 12 bits over 5 V, and a volt for 1.
void cv_out_start(cv_out_state *s, const kernel_env *env, const cv_out_params *p, void *const buffers[]) {
  (void)env, (void)p, (void)buffers;
  s->scale = (float)(4096.0 / 5.0);
  s->offset = 0;
}

void cv_out_tick(cv_out_state *s, const kernel_env *env, const float *const in[], float *const out[]) {
  (void)env;
  real word = (real)s->scale * *in[0] + s->offset;
  word = word < 0 ? 0 : word > cv_out_greatest ? cv_out_greatest : word;
  *out[0] = kernel_float((uint32_t)(word + 0.5f));
}

#ifdef KERNEL_STIMULI
// The costliest values are within range, so that both compares are made and all is converted.
void cv_out_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = costliest ? 2.5f + 2.4f * kernel_noise(&seed) : 6.0f * kernel_noise(&seed);
}
#endif
