// Envelope follower: e[n] = e[n-1] + c (d[n] - e[n-1]), c = 1 - exp(-1 / (time rate)) of the attack where d > e, else of
// the release (U. Zolzer (ed.), DAFX, chapter on dynamics). Peak: d is the greatest abs x over the channels, y = e. RMS: d
// is the mean of x^2 over the channels, y the root of e.
#include "kernel.h"

#if !defined(DETECTOR_PEAK) && !defined(DETECTOR_RMS)
#error "envelope-follower: define DETECTOR_PEAK or DETECTOR_RMS"
#endif

typedef struct {
  float attack, release; // seconds
} envelope_follower_params;

typedef struct {
  float level;
  float attack, release; // coefficients
#ifdef DETECTOR_RMS
  float share; // of a channel in the mean
#endif
} envelope_follower_state;

uint32_t envelope_follower_state_bytes(const kernel_env *env, const envelope_follower_params *p) {
  (void)env, (void)p;
  return sizeof(envelope_follower_state);
}

KERNEL_INLINE float envelope_follower_coefficient(const kernel_env *env, real seconds) {
  return (float)(1 - kernel_exp(-1 / (seconds * env->sample_rate)));
}

void envelope_follower_update_attack(envelope_follower_state *s, const kernel_env *env,
                                     const envelope_follower_params *p) {
  s->attack = envelope_follower_coefficient(env, p->attack);
}

void envelope_follower_update_release(envelope_follower_state *s, const kernel_env *env,
                                      const envelope_follower_params *p) {
  s->release = envelope_follower_coefficient(env, p->release);
}

void envelope_follower_start(envelope_follower_state *s, const kernel_env *env, const envelope_follower_params *p,
                             void *const buffers[]) {
  (void)buffers;
  s->level = 0;
#ifdef DETECTOR_RMS
  s->share = 1 / (float)env->channels;
#endif
  envelope_follower_update_attack(s, env, p);
  envelope_follower_update_release(s, env, p);
}

KERNEL_INLINE void envelope_follower_run(envelope_follower_state *s, const kernel_env *env, const float *const in[],
                                         float *const out[], uint32_t n) {
  const uint32_t channels = env->channels;
  const real attack = s->attack, release = s->release;
#ifdef DETECTOR_RMS
  const real share = s->share;
#endif
  float level = s->level;
  for (uint32_t i = 0; i < n; i++) {
    real found = 0;
    for (uint32_t c = 0; c < channels; c++) {
      const real x = in[c][i];
#ifdef DETECTOR_PEAK
      const real swing = kernel_abs(x);
      found = swing > found ? swing : found;
#else
      found += x * x;
#endif
    }
#ifdef DETECTOR_RMS
    found *= share;
#endif
    level = (float)(level + (found > level ? attack : release) * (found - level));
  }
  s->level = level;
#ifdef DETECTOR_PEAK
  *out[0] = level;
#else
  *out[0] = (float)kernel_sqrt(level);
#endif
}
KERNEL_BLOCK(envelope_follower)

#ifdef KERNEL_STIMULI
// Loud and silent samples take turns, so that the level rises and falls by turns however fast it may. The costliest
// are tiny, so that levels and squares are denormal.
void envelope_follower_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-38f : i & 1 ? 1e-6f : 0.5f) + (costliest || i & 1 ? 0.0f : 0.5f);
}
#endif
