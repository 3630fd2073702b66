// Gain in fixed point: y[n] = g x[n] on every channel, g = fraction x 2^raise, held at full scale.
#include "fixed.h"

typedef struct {
  float gain;
} fixed_gain_params;

typedef fixed_factor fixed_gain_state;

uint32_t fixed_gain_state_bytes(const kernel_env *env, const fixed_gain_params *p) {
  (void)env, (void)p;
  return sizeof(fixed_gain_state);
}

void fixed_gain_update_gain(fixed_gain_state *s, const kernel_env *env, const fixed_gain_params *p) {
  (void)env;
  *s = fixed_factor_of(p->gain);
}

void fixed_gain_start(fixed_gain_state *s, const kernel_env *env, const fixed_gain_params *p, void *const buffers[]) {
  (void)buffers;
  fixed_gain_update_gain(s, env, p);
}

KERNEL_INLINE void fixed_gain_run(fixed_gain_state *s, const kernel_env *env, const float *const in[],
                                  float *const out[], uint32_t n) {
  const uint32_t channels = env->channels;
#ifdef MOVED_GAIN_AUDIO
  (void)s;
  const float *gain = in[channels];
#else
  const fixed_factor factor = *s;
#endif
  for (uint32_t c = 0; c < channels; c++) {
    const float *x = in[c];
    float *y = out[c];
    for (uint32_t i = 0; i < n; i++) {
#ifdef MOVED_GAIN_AUDIO
      const fixed_factor factor = fixed_factor_of(gain[i]);
#endif
      y[i] = fixed_to_float(fixed_raise(fixed_product(factor.fraction, fixed_from_float(x[i])), factor.raise));
    }
  }
}
KERNEL_BLOCK(fixed_gain)

#ifdef KERNEL_STIMULI
// Nothing within full scale costs more than another; beyond it a conversion is cut short. The costliest is soft, so that
// more places are shifted and leading zeros counted, and never silent.
void fixed_gain_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  if (channel == KERNEL_MOVED) {
    kernel_ramp(x, n, 0.3f, 1.7f);
    return;
  }
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = (kernel_noise(&seed) + 2) * (costliest ? 0.001f : 0.3f) * (i & 1 ? -1.0f : 1.0f);
}
#endif
