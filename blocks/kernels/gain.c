// Gain: y[n] = g x[n] on every channel.
#include "kernel.h"

typedef struct {
  float gain;
} gain_params;

typedef struct {
  float gain;
} gain_state;

uint32_t gain_state_bytes(const kernel_env *env, const gain_params *p) {
  (void)env, (void)p;
  return sizeof(gain_state);
}

void gain_start(gain_state *s, const kernel_env *env, const gain_params *p, void *const buffers[]) {
  (void)env, (void)buffers;
  s->gain = p->gain;
}

KERNEL_INLINE void gain_run(gain_state *s, const kernel_env *env, const float *const in[], float *const out[],
                            uint32_t n) {
  const uint32_t channels = env->channels;
#ifdef MOVED_GAIN_AUDIO
  (void)s;
  const float *gain = in[channels];
#else
  const real gain = s->gain;
#endif
  for (uint32_t c = 0; c < channels; c++) {
    const float *x = in[c];
    float *y = out[c];
    for (uint32_t i = 0; i < n; i++) {
#ifdef MOVED_GAIN_AUDIO
      y[i] = gain[i] * (real)x[i];
#else
      y[i] = gain * x[i];
#endif
    }
  }
}
KERNEL_BLOCK(gain)

#ifdef KERNEL_STIMULI
// The costliest samples are tiny, so that the products are denormal, which
// costs most where floats are made by software.
void gain_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-38f : 1.0f);
}
#endif
