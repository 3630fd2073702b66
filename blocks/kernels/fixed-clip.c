// Clip in fixed point, held (hard) or bent toward full scale by a cubic (v - 4/27 v^3 for v held in -1.5..1.5; any text on
// waveshaping), v = d x[n], d the drive. The cubic works on u = v / 1.5, of which it is u + (u - u^3) / 2.
#include "fixed.h"

#if !defined(CURVE_HARD) && !defined(CURVE_CUBIC)
#error "fixed-clip: define CURVE_HARD or CURVE_CUBIC"
#endif

typedef struct {
  float drive;
} fixed_clip_params;

typedef fixed_factor fixed_clip_state;

uint32_t fixed_clip_state_bytes(const kernel_env *env, const fixed_clip_params *p) {
  (void)env, (void)p;
  return sizeof(fixed_clip_state);
}

// What a sample is driven by, so that the curve begins to be flat at full scale.
KERNEL_INLINE fixed_factor fixed_clip_drive(float drive) {
  fixed_factor factor = fixed_factor_of(drive);
#ifdef CURVE_CUBIC
  factor.fraction = fixed_long_product(factor.fraction, 0x55555555); // 2/3
#endif
  return factor;
}

void fixed_clip_update_drive(fixed_clip_state *s, const kernel_env *env, const fixed_clip_params *p) {
  (void)env;
  *s = fixed_clip_drive(p->drive);
}

void fixed_clip_start(fixed_clip_state *s, const kernel_env *env, const fixed_clip_params *p, void *const buffers[]) {
  (void)buffers;
  fixed_clip_update_drive(s, env, p);
}

KERNEL_INLINE float fixed_clip_at(fixed_factor factor, float x) {
  const int32_t u = fixed_raise(fixed_product(factor.fraction, fixed_from_float(x)), factor.raise);
#ifdef CURVE_CUBIC
  const int32_t cube = fixed_long_product(fixed_long_product(u, u), u);
  return fixed_unscaled((u >> 1) + (u >> 2) - (cube >> 2), 1); // halved, so that nothing overflows
#else
  return fixed_to_float(u);
#endif
}

KERNEL_INLINE void fixed_clip_run(fixed_clip_state *s, const kernel_env *env, const float *const in[],
                                  float *const out[], uint32_t n) {
  const uint32_t channels = env->channels;
#ifdef MOVED_DRIVE_AUDIO
  (void)s;
  const float *drive = in[channels];
#else
  const fixed_factor factor = *s;
#endif
  for (uint32_t c = 0; c < channels; c++) {
    const float *x = in[c];
    float *y = out[c];
    for (uint32_t i = 0; i < n; i++) {
#ifdef MOVED_DRIVE_AUDIO
      const fixed_factor factor = fixed_clip_drive(drive[i]);
#endif
      y[i] = fixed_clip_at(factor, x[i]);
    }
  }
}
KERNEL_BLOCK(fixed_clip)

#ifdef KERNEL_STIMULI
// Every fourth sample lies beyond full scale and the others far within, so that as many are held whatever the drive. The
// costliest are all softer, so that more places are shifted and leading zeros counted, and never silent.
void fixed_clip_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  if (channel == KERNEL_MOVED) {
    kernel_ramp(x, n, 1.1f, 1.9f);
    return;
  }
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = (kernel_noise(&seed) + 2) * (costliest ? 0.0003f : i & 3 ? 0.002f : 1.5f) * (i & 1 ? -1.0f : 1.0f);
}
#endif
