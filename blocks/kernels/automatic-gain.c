// Automatic gain: e[n] = e[n-1] + c (p - e[n-1]), p the greatest swing of all channels, c = 1 - exp(-1 / (time rate)) of
// the attack where p > e, else of the release, and 0 where p lies below a level; y = x target / max(e, target / most)
// (U. Zolzer, editor, DAFX, on dynamics: the peak detector).
#include "dynamics.h"

typedef struct {
  float target, most, quiet; // decibels
  float attack, release;     // seconds
} automatic_gain_params;

typedef struct {
  float level;
  float target, least; // swings, the least such as the greatest gain brings to the target
  float quiet;
  float attack, release; // coefficients
} automatic_gain_state;

uint32_t automatic_gain_state_bytes(const kernel_env *env, const automatic_gain_params *p) {
  (void)env, (void)p;
  return sizeof(automatic_gain_state);
}

void automatic_gain_update_target(automatic_gain_state *s, const kernel_env *env, const automatic_gain_params *p) {
  (void)env;
  s->target = (float)dynamics_ratio(p->target);
  s->least = (float)dynamics_ratio((real)p->target - p->most);
}

void automatic_gain_update_quiet(automatic_gain_state *s, const kernel_env *env, const automatic_gain_params *p) {
  (void)env;
  s->quiet = (float)dynamics_ratio(p->quiet);
}

KERNEL_INLINE float automatic_gain_coefficient(const kernel_env *env, real seconds) {
  return (float)(1 - kernel_exp(-1 / (seconds * env->sample_rate)));
}

void automatic_gain_update_attack(automatic_gain_state *s, const kernel_env *env, const automatic_gain_params *p) {
  s->attack = automatic_gain_coefficient(env, p->attack);
}

void automatic_gain_update_release(automatic_gain_state *s, const kernel_env *env, const automatic_gain_params *p) {
  s->release = automatic_gain_coefficient(env, p->release);
}

// It begins as behind a sound of full scale, so that the first one is not blown up.
void automatic_gain_start(automatic_gain_state *s, const kernel_env *env, const automatic_gain_params *p,
                          void *const buffers[]) {
  (void)buffers;
  s->level = 1;
  automatic_gain_update_target(s, env, p);
  automatic_gain_update_quiet(s, env, p);
  automatic_gain_update_attack(s, env, p);
  automatic_gain_update_release(s, env, p);
}

KERNEL_INLINE void automatic_gain_run(automatic_gain_state *s, const kernel_env *env, const float *const in[],
                                      float *const out[], uint32_t n) {
  const uint32_t channels = env->channels;
  const real target = s->target, least = s->least, quiet = s->quiet, attack = s->attack, release = s->release;
  float level = s->level;
  for (uint32_t i = 0; i < n; i++) {
    const real found = dynamics_swing(in, channels, i, 0);
    real coefficient = found > level ? attack : release;
    coefficient = found < quiet ? 0 : coefficient;
    level = (float)(level + coefficient * (found - level));
    const real gain = target / (level < least ? least : level);
    for (uint32_t c = 0; c < channels; c++)
      out[c][i] = (float)(gain * in[c][i]);
  }
  s->level = level;
}
KERNEL_BLOCK(automatic_gain)

#ifdef KERNEL_STIMULI
// Loud enough to be followed, and above the level by turns. The costliest rise and fall at every sample.
void automatic_gain_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = (2 + kernel_noise(&seed)) * (costliest && i & 1 ? 0.13f : 0.33f);
}
#endif
