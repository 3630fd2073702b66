// Mixer to one channel: y[n] = sum over k of g[k] x[k][n].
#include "kernel.h"

typedef struct {
  float gain; // ratio, on every channel
} mix_params;

typedef float mix_state; // the gain of the first channel; those of the others follow

uint32_t mix_state_bytes(const kernel_env *env, const mix_params *p) {
  (void)p;
  return env->channels * sizeof(mix_state);
}

void mix_update_gains(mix_state *s, const kernel_env *env, const mix_params *p) {
  for (uint32_t c = 0; c < env->channels; c++)
    s[c] = p->gain;
}

void mix_start(mix_state *s, const kernel_env *env, const mix_params *p, void *const buffers[]) {
  (void)buffers;
  mix_update_gains(s, env, p);
}

KERNEL_INLINE void mix_run(mix_state *s, const kernel_env *env, const float *const in[], float *const out[],
                           uint32_t n) {
  const uint32_t channels = env->channels;
  float *y = out[0];
#ifdef MOVED_GAIN_AUDIO
  (void)s;
  const float *gain = in[channels];
#endif
  for (uint32_t i = 0; i < n; i++) {
    real sum = 0;
    for (uint32_t c = 0; c < channels; c++) {
#ifdef MOVED_GAIN_AUDIO
      sum += gain[i] * (real)in[c][i];
#else
      sum += s[c] * (real)in[c][i];
#endif
    }
    y[i] = (float)sum;
  }
}
KERNEL_BLOCK(mix)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal, and so small that they are after any gain.
void mix_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  if (channel == KERNEL_MOVED) {
    kernel_ramp(x, n, 0.25f, 0.75f);
    return;
  }
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-40f : 1.0f);
}
#endif
