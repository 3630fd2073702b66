// Soft clip: v = d x[n], d the drive; y = tanh(v) by the library; or (27 v + v^3) / (27 + 9 v^2) for v held in -3..3, a
// third over second degree form of tanh (cschueler 2006, a public archive); or v - (4/27) v^3 for v held in -1.5..1.5,
// which is 1.5 (u - u^3 / 3) with u = 2 v / 3.
#include "kernel.h"

#if !defined(METHOD_LIBRARY) && !defined(METHOD_RATIONAL) && !defined(METHOD_CUBIC)
#error "soft-clip: define METHOD_LIBRARY, METHOD_RATIONAL or METHOD_CUBIC"
#endif

typedef struct {
  float drive;
} soft_clip_params;

typedef struct {
  float drive;
} soft_clip_state;

uint32_t soft_clip_state_bytes(const kernel_env *env, const soft_clip_params *p) {
  (void)env, (void)p;
  return sizeof(soft_clip_state);
}

#ifdef KERNEL_STIMULI
static float soft_clip_driven = 1; // by the start before; a moved drive wanders about 1
#endif

void soft_clip_start(soft_clip_state *s, const kernel_env *env, const soft_clip_params *p, void *const buffers[]) {
  (void)env, (void)buffers;
  s->drive = p->drive;
#if defined(KERNEL_STIMULI) && !defined(MOVED_DRIVE_AUDIO)
  soft_clip_driven = p->drive;
#endif
}

KERNEL_INLINE real soft_clip_held(real v, real limit) {
  return v < -limit ? -limit : v > limit ? limit : v;
}

KERNEL_INLINE float soft_clip_at(real v) {
#if defined(METHOD_LIBRARY)
  return (float)kernel_tanh(v);
#elif defined(METHOD_RATIONAL)
  v = soft_clip_held(v, 3);
  const real square = v * v;
  return (float)(v * (27 + square) / (27 + 9 * square));
#else
  v = soft_clip_held(v, 1.5f);
  return (float)(v - (real)(4.0 / 27.0) * v * v * v);
#endif
}

KERNEL_INLINE void soft_clip_run(soft_clip_state *s, const kernel_env *env, const float *const in[], float *const out[],
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
      y[i] = soft_clip_at((real)drive[i] * x[i]);
#else
      y[i] = soft_clip_at(drive * x[i]);
#endif
    }
  }
}
KERNEL_BLOCK(soft_clip)

#ifdef KERNEL_STIMULI
// Samples are the softer the stronger the drive, so that what is bent is as loud at every drive, within full scale. The
// costliest of the library are those whose exponential must be reduced, from 1 to 2; those of the other methods are
// tiny, which makes denormals.
void soft_clip_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  if (channel == KERNEL_MOVED) {
    kernel_ramp(x, n, 1.0f, costliest ? 1.2f : 2.0f);
    return;
  }
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++) {
    const float noise = kernel_noise(&seed) / soft_clip_driven;
#ifdef METHOD_LIBRARY
    x[i] = !costliest ? noise : noise < 0 ? noise - 1 / soft_clip_driven : noise + 1 / soft_clip_driven;
#else
    x[i] = costliest ? noise * 1e-38f : noise;
#endif
  }
}
#endif
