// Ring modulator: y[n] = x[n] c[n] on every channel (any text on amplitude modulation).
#include "kernel.h"

typedef kernel_nothing ring_modulator_params;
typedef kernel_nothing ring_modulator_state;

uint32_t ring_modulator_state_bytes(const kernel_env *env, const ring_modulator_params *p) {
  (void)env, (void)p;
  return 0;
}

void ring_modulator_start(ring_modulator_state *s, const kernel_env *env, const ring_modulator_params *p,
                          void *const buffers[]) {
  (void)s, (void)env, (void)p, (void)buffers;
}

KERNEL_INLINE void ring_modulator_run(ring_modulator_state *s, const kernel_env *env, const float *const in[],
                                      float *const out[], uint32_t n) {
  (void)s;
  const uint32_t channels = env->channels;
  for (uint32_t c = 0; c < channels; c++) {
    const float *x = in[c], *carrier = in[channels + c];
    float *y = out[c];
    for (uint32_t i = 0; i < n; i++)
      y[i] = (float)((real)x[i] * carrier[i]);
  }
}
KERNEL_BLOCK(ring_modulator)

#ifdef KERNEL_STIMULI
// The costliest samples are so small that every product is denormal.
void ring_modulator_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-20f : 1.0f);
}
#endif
