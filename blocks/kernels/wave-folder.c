// Wave folder: v = d x[n]; sine y[n] = sin(pi v / 2), by the library or by an odd polynomial on a quarter turn; triangle
// y[n] = (v - 2 m) (-1)^m, m the whole number nearest to v / 2 (any text on waveshaping). abs(v) must stay below 2^31.
#include "kernel.h"

#if !defined(METHOD_LIBRARY) && !defined(METHOD_POLYNOMIAL) && !defined(METHOD_TRIANGLE)
#error "wave-folder: define METHOD_LIBRARY, METHOD_POLYNOMIAL or METHOD_TRIANGLE"
#endif

typedef struct {
  float drive;
} wave_folder_params;

typedef struct {
  float drive; // in half turns of the sine, or in radians for the library
} wave_folder_state;

uint32_t wave_folder_state_bytes(const kernel_env *env, const wave_folder_params *p) {
  (void)env, (void)p;
  return sizeof(wave_folder_state);
}

#ifdef METHOD_LIBRARY
static const real wave_folder_scale = (real)1.57079632679489661923;
#else
static const real wave_folder_scale = (real)0.5;
#endif

void wave_folder_update_drive(wave_folder_state *s, const kernel_env *env, const wave_folder_params *p) {
  (void)env;
  s->drive = (float)(wave_folder_scale * p->drive);
}

void wave_folder_start(wave_folder_state *s, const kernel_env *env, const wave_folder_params *p, void *const buffers[]) {
  (void)buffers;
  wave_folder_update_drive(s, env, p);
}

KERNEL_INLINE float wave_folder_at(real driven) {
#ifdef METHOD_LIBRARY
  return (float)kernel_sin(driven);
#else
  const int32_t nearest = (int32_t)(driven + (driven < 0 ? (real)-0.5 : (real)0.5));
  const real half_turns = driven - (real)nearest;
#ifdef METHOD_TRIANGLE
  const real y = 2 * half_turns;
#else
  // Minimax fit of our own, by Remez exchange; greatest error 5.9e-7.
  const real square = half_turns * half_turns;
  const real y = half_turns * ((real)(2 * 1.57079101108) +
                               square * ((real)(8 * -0.645892849548) +
                                         square * ((real)(32 * 0.0794343446169) + square * (real)(128 * -0.00433309529249))));
#endif
  return (float)(nearest & 1 ? -y : y);
#endif
}

KERNEL_INLINE void wave_folder_run(wave_folder_state *s, const kernel_env *env, const float *const in[],
                                   float *const out[], uint32_t n) {
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
      y[i] = wave_folder_at((float)(wave_folder_scale * drive[i]) * (real)x[i]);
#else
      y[i] = wave_folder_at(drive * x[i]);
#endif
    }
  }
}
KERNEL_BLOCK(wave_folder)

#ifdef KERNEL_STIMULI
// Signs take turns, and every angle lies beyond the first half turn, where the library reduces it in one way up to 128
// quarter turns, which no signal within full scale passes at the greatest drive. The costliest drives fold most.
void wave_folder_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  if (channel == KERNEL_MOVED) {
    kernel_ramp(x, n, costliest ? 14.0f : 3.0f, costliest ? 18.0f : 5.0f);
    return;
  }
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = (2 + kernel_noise(&seed)) * (costliest ? 1.25f : 0.9f) * (i & 1 ? -1.0f : 1.0f);
}
#endif
