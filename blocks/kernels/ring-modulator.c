// Ring modulator on every channel: product y[n] = x[n] c[n] (any text on amplitude modulation); switched y[n] = -x[n] where
// c[n] is negative, else x[n], as diodes do that a strong carrier switches.
#include "kernel.h"

#if !defined(FORM_PRODUCT) && !defined(FORM_SWITCHED)
#error "ring-modulator: define FORM_PRODUCT or FORM_SWITCHED"
#endif

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

KERNEL_INLINE float ring_modulator_at(float x, float carrier) {
#ifdef FORM_SWITCHED
  // A sign bit is turned by the other: no float is computed.
  return kernel_float(kernel_bits(x) ^ (kernel_bits(carrier) & 0x80000000u));
#else
  return (float)((real)x * carrier);
#endif
}

KERNEL_INLINE void ring_modulator_run(ring_modulator_state *s, const kernel_env *env, const float *const in[],
                                      float *const out[], uint32_t n) {
  (void)s;
  const uint32_t channels = env->channels;
  for (uint32_t c = 0; c < channels; c++) {
    const float *x = in[c], *carrier = in[channels + c];
    float *y = out[c];
    for (uint32_t i = 0; i < n; i++)
      y[i] = ring_modulator_at(x[i], carrier[i]);
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
