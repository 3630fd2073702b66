// Mixer to one channel in fixed point: y[n] = g sum over k of x[k][n], g = fraction x 2^raise; the products are summed with
// 32 bits to spare above full scale, and only the sum is held.
#include "fixed.h"

typedef struct {
  float gain; // ratio, on every channel
} fixed_mix_params;

typedef fixed_factor fixed_mix_state;

uint32_t fixed_mix_state_bytes(const kernel_env *env, const fixed_mix_params *p) {
  (void)env, (void)p;
  return sizeof(fixed_mix_state);
}

void fixed_mix_update_gain(fixed_mix_state *s, const kernel_env *env, const fixed_mix_params *p) {
  (void)env;
  *s = fixed_factor_of(p->gain);
}

void fixed_mix_start(fixed_mix_state *s, const kernel_env *env, const fixed_mix_params *p, void *const buffers[]) {
  (void)buffers;
  fixed_mix_update_gain(s, env, p);
}

KERNEL_INLINE void fixed_mix_run(fixed_mix_state *s, const kernel_env *env, const float *const in[], float *const out[],
                                 uint32_t n) {
  const uint32_t channels = env->channels;
  float *y = out[0];
#ifdef MOVED_GAIN_AUDIO
  (void)s;
  const float *gain = in[channels];
#else
  const fixed_factor factor = *s;
#endif
  for (uint32_t i = 0; i < n; i++) {
#ifdef MOVED_GAIN_AUDIO
    const fixed_factor factor = fixed_factor_of(gain[i]);
#endif
    int64_t sum = 0;
    for (uint32_t c = 0; c < channels; c++)
      sum += fixed_product(factor.fraction, fixed_from_float(in[c][i]));
    sum = sum > INT32_MAX ? INT32_MAX : sum < -INT32_MAX ? -INT32_MAX : sum;
    y[i] = fixed_to_float(fixed_raise((int32_t)sum, factor.raise));
  }
}
KERNEL_BLOCK(fixed_mix)

#ifdef KERNEL_STIMULI
// Soft at the costliest, so that more leading zeros are counted, and of one sign in all channels, so that no sum is near
// silence.
void fixed_mix_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  if (channel == KERNEL_MOVED) {
    kernel_ramp(x, n, 0.3f, 1.7f);
    return;
  }
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = (kernel_noise(&seed) + 2) * (costliest ? 0.0003f : 0.1f) * (i & 1 ? -1.0f : 1.0f);
}
#endif
