// Half-band lowpass: y[n] = (A x[n] + B x[n-1]) / 2, A and B chains of allpasses in z^-2.
#if defined(ALLPASSES_4)
#define HALFBAND_ALLPASSES 4
#elif defined(ALLPASSES_6)
#define HALFBAND_ALLPASSES 6
#elif defined(ALLPASSES_8)
#define HALFBAND_ALLPASSES 8
#else
#error "half-band: define ALLPASSES_4, ALLPASSES_6 or ALLPASSES_8"
#endif
#include "halfband.h"

typedef kernel_nothing half_band_params;

// Even and odd samples have chains of their own, since an allpass looks back by two.
typedef struct {
  halfband_chain first, second;
} half_band_moment;

typedef struct {
  uint32_t turn;
  half_band_moment moment[][2];
} half_band_state;

uint32_t half_band_state_bytes(const kernel_env *env, const half_band_params *p) {
  (void)p;
  return sizeof(half_band_state) + 2 * env->channels * sizeof(half_band_moment);
}

void half_band_start(half_band_state *s, const kernel_env *env, const half_band_params *p, void *const buffers[]) {
  (void)p, (void)buffers;
  s->turn = 0;
  for (uint32_t c = 0; c < env->channels; c++)
    s->moment[c][0] = s->moment[c][1] = (half_band_moment){0};
}

KERNEL_INLINE void half_band_run(half_band_state *s, const kernel_env *env, const float *const in[], float *const out[],
                                 uint32_t n) {
  const uint32_t channels = env->channels;
  for (uint32_t c = 0; c < channels; c++) {
    const float *x = in[c];
    float *y = out[c];
    uint32_t turn = s->turn;
    for (uint32_t i = 0; i < n; i++) {
      half_band_moment *now = &s->moment[c][turn];
      turn ^= 1;
      const real late = s->moment[c][turn].second.output[halfband_length - 1];
      const real here = x[i];
      halfband_pass(halfband_second, &now->second, here);
      y[i] = (float)((real)0.5 * (halfband_pass(halfband_first, &now->first, here) + late));
    }
  }
  s->turn ^= n & 1;
}
KERNEL_BLOCK(half_band)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal.
void half_band_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-38f : 1.0f);
}
#endif
