// Dry and wet blend: y[n] = d[n] + w (e[n] - d[n]) on every channel.
#include "kernel.h"

typedef struct {
  float wet; // ratio
} dry_wet_params;

typedef struct {
  float wet;
} dry_wet_state;

uint32_t dry_wet_state_bytes(const kernel_env *env, const dry_wet_params *p) {
  (void)env, (void)p;
  return sizeof(dry_wet_state);
}

void dry_wet_start(dry_wet_state *s, const kernel_env *env, const dry_wet_params *p, void *const buffers[]) {
  (void)env, (void)buffers;
  s->wet = p->wet;
}

KERNEL_INLINE void dry_wet_run(dry_wet_state *s, const kernel_env *env, const float *const in[], float *const out[],
                               uint32_t n) {
  const uint32_t channels = env->channels;
#ifdef MOVED_WET_AUDIO
  (void)s;
  const float *share = in[2 * channels];
#else
  const real share = s->wet;
#endif
  for (uint32_t c = 0; c < channels; c++) {
    const float *dry = in[c], *wet = in[channels + c];
    float *y = out[c];
    for (uint32_t i = 0; i < n; i++) {
      const real d = dry[i];
#ifdef MOVED_WET_AUDIO
      y[i] = (float)(d + share[i] * (wet[i] - d));
#else
      y[i] = (float)(d + share * (wet[i] - d));
#endif
    }
  }
}
KERNEL_BLOCK(dry_wet)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal.
void dry_wet_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  if (channel == KERNEL_MOVED) {
    kernel_ramp(x, n, 0.25f, 0.75f);
    return;
  }
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-38f : 1.0f);
}
#endif
