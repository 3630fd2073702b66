// Oversampled clip: two samples of each by a half-band lowpass, both driven through the curve, one of each two by a half-band
// lowpass again. Curves: v held in -1..1, or v - (4/27) v^3 for v held in -1.5..1.5.
#define HALFBAND_ALLPASSES 6
#include "halfband.h"

#if !defined(CURVE_HARD) && !defined(CURVE_CUBIC)
#error "oversampled-clip: define CURVE_HARD or CURVE_CUBIC"
#endif

typedef struct {
  float drive;
} oversampled_clip_params;

typedef struct {
  halfband_chain up_first, up_second, down_first, down_second;
} oversampled_clip_channel;

typedef struct {
  float drive;
  oversampled_clip_channel channel[];
} oversampled_clip_state;

uint32_t oversampled_clip_state_bytes(const kernel_env *env, const oversampled_clip_params *p) {
  (void)p;
  return sizeof(oversampled_clip_state) + env->channels * sizeof(oversampled_clip_channel);
}

void oversampled_clip_update_drive(oversampled_clip_state *s, const kernel_env *env, const oversampled_clip_params *p) {
  (void)env;
  s->drive = p->drive;
}

#ifdef KERNEL_STIMULI
static float oversampled_clip_driven = 1; // by the start before
#endif

void oversampled_clip_start(oversampled_clip_state *s, const kernel_env *env, const oversampled_clip_params *p,
                            void *const buffers[]) {
  (void)buffers;
  oversampled_clip_update_drive(s, env, p);
  for (uint32_t c = 0; c < env->channels; c++)
    s->channel[c] = (oversampled_clip_channel){0};
#ifdef KERNEL_STIMULI
  oversampled_clip_driven = p->drive;
#endif
}

KERNEL_INLINE real oversampled_clip_held(real v, real limit) {
  return v < -limit ? -limit : v > limit ? limit : v;
}

KERNEL_INLINE real oversampled_clip_curve(real v) {
#ifdef CURVE_HARD
  return oversampled_clip_held(v, 1);
#else
  v = oversampled_clip_held(v, 1.5f);
  return v - (real)(4.0 / 27.0) * v * v * v;
#endif
}

KERNEL_INLINE void oversampled_clip_run(oversampled_clip_state *s, const kernel_env *env, const float *const in[],
                                        float *const out[], uint32_t n) {
  const uint32_t channels = env->channels;
  const real drive = s->drive;
  for (uint32_t c = 0; c < channels; c++) {
    const float *x = in[c];
    float *y = out[c];
    oversampled_clip_channel *state = &s->channel[c];
    for (uint32_t i = 0; i < n; i++) {
      const real driven = drive * x[i];
      const real earlier = oversampled_clip_curve(halfband_pass(halfband_first, &state->up_first, driven));
      const real later = oversampled_clip_curve(halfband_pass(halfband_second, &state->up_second, driven));
      // At the later moment, where the chain that is a sample late has the earlier one.
      y[i] = (float)((real)0.5 * (halfband_pass(halfband_first, &state->down_first, later) +
                                  halfband_pass(halfband_second, &state->down_second, earlier)));
    }
  }
}
KERNEL_BLOCK(oversampled_clip)

#ifdef KERNEL_STIMULI
// Samples are the softer the stronger the drive, so that what is bent is as loud at every drive. The costliest are denormal.
void oversampled_clip_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) / oversampled_clip_driven * (costliest ? 1e-38f : 1.0f);
}
#endif
