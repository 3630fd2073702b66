// Hard clip: y[n] = max(-1, min(1, d x[n])), d the drive (any text on waveshaping).
#include "kernel.h"

typedef struct {
  float drive;
} hard_clip_params;

typedef struct {
  float drive;
} hard_clip_state;

uint32_t hard_clip_state_bytes(const kernel_env *env, const hard_clip_params *p) {
  (void)env, (void)p;
  return sizeof(hard_clip_state);
}

void hard_clip_start(hard_clip_state *s, const kernel_env *env, const hard_clip_params *p, void *const buffers[]) {
  (void)env, (void)buffers;
  s->drive = p->drive;
}

KERNEL_INLINE float hard_clip_at(real driven) {
  return (float)(driven < -1 ? -1 : driven > 1 ? 1 : driven);
}

KERNEL_INLINE void hard_clip_run(hard_clip_state *s, const kernel_env *env, const float *const in[], float *const out[],
                                 uint32_t n) {
  const uint32_t channels = env->channels;
#ifdef MOVED_DRIVE_AUDIO
  (void)s;
  const float *drive = in[channels];
#else
  const real drive = s->drive;
#endif
  for (uint32_t c = 0; c < channels; c++) {
    const float *x = in[c];
    float *y = out[c];
    for (uint32_t i = 0; i < n; i++) {
#ifdef MOVED_DRIVE_AUDIO
      y[i] = hard_clip_at((real)drive[i] * x[i]);
#else
      y[i] = hard_clip_at(drive * x[i]);
#endif
    }
  }
}
KERNEL_BLOCK(hard_clip)

#ifdef KERNEL_STIMULI
// Every fourth sample lies beyond full scale and the others far within, so that as many are clipped whatever the drive.
// The costliest are denormal, and
// so small that the products are whatever the drive, and both compares are made.
void hard_clip_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  if (channel == KERNEL_MOVED) {
    kernel_ramp(x, n, costliest ? 0.1f : 1.0f, costliest ? 0.2f : 2.0f);
    return;
  }
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-40f : 0.005f) + (costliest || i & 3 ? 0.0f : i & 4 ? 1.5f : -1.5f);
}
#endif
