// Noise gate: opens where the greatest swing of all channels reaches a threshold, and shuts when none has come within the
// hysteresis below it for the hold; g[n] = min(1, g[n-1] u) while it is open, else max(shut, g[n-1] d), y = g x. A gain
// of 60 dB is ln 1000, so u = exp(ln 1000 / (attack rate)) and d = exp(-ln 1000 / (release rate)): straight lines in
// decibels (U. Zolzer, editor, DAFX, on dynamics: follower, hysteresis and hold).
#include "dynamics.h"

typedef struct {
  float threshold, hysteresis, shut; // decibels
  float hold, attack, release;        // seconds
} noise_gate_params;

typedef struct {
  uint32_t left, hold; // samples to stay open
  float gain, shut;  // now, and least
  float upper, lower; // swings that open it, and that keep it open
  float rise, fall;
} noise_gate_state;

static const real noise_gate_constants = (real)6.90775527898; // ln 1000

uint32_t noise_gate_state_bytes(const kernel_env *env, const noise_gate_params *p) {
  (void)env, (void)p;
  return sizeof(noise_gate_state);
}

void noise_gate_update_threshold(noise_gate_state *s, const kernel_env *env, const noise_gate_params *p) {
  (void)env;
  s->upper = (float)dynamics_ratio(p->threshold);
  s->lower = (float)dynamics_ratio((real)p->threshold - p->hysteresis);
}

void noise_gate_update_shut(noise_gate_state *s, const kernel_env *env, const noise_gate_params *p) {
  (void)env;
  s->shut = (float)dynamics_ratio(p->shut);
}

// One more, so that the sample that opens the gate finds it open.
void noise_gate_update_hold(noise_gate_state *s, const kernel_env *env, const noise_gate_params *p) {
  s->hold = 1 + (uint32_t)((real)p->hold * env->sample_rate + 0.5f);
}

KERNEL_INLINE float noise_gate_factor(const kernel_env *env, real constants, real seconds) {
  return (float)kernel_exp(constants / (seconds * env->sample_rate));
}

void noise_gate_update_attack(noise_gate_state *s, const kernel_env *env, const noise_gate_params *p) {
  s->rise = noise_gate_factor(env, noise_gate_constants, p->attack);
}

void noise_gate_update_release(noise_gate_state *s, const kernel_env *env, const noise_gate_params *p) {
  s->fall = noise_gate_factor(env, -noise_gate_constants, p->release);
}

void noise_gate_start(noise_gate_state *s, const kernel_env *env, const noise_gate_params *p, void *const buffers[]) {
  (void)buffers;
  s->left = 0;
  noise_gate_update_threshold(s, env, p);
  noise_gate_update_shut(s, env, p);
  noise_gate_update_hold(s, env, p);
  noise_gate_update_attack(s, env, p);
  noise_gate_update_release(s, env, p);
  s->gain = 0; // which the first sample holds at its least
}

KERNEL_INLINE void noise_gate_run(noise_gate_state *s, const kernel_env *env, const float *const in[],
                                  float *const out[], uint32_t n) {
  const uint32_t channels = env->channels, hold = s->hold;
  const real shut = s->shut, upper = s->upper, lower = s->lower, rise = s->rise, fall = s->fall;
  uint32_t left = s->left;
  float gain = s->gain;
  for (uint32_t i = 0; i < n; i++) {
    const real found = dynamics_swing(in, channels, i, 0);
    const uint32_t rest = left - (left != 0);
    left = found >= (left ? lower : upper) ? hold : rest;
    real next = gain * (left ? rise : fall);
    next = next > 1 ? 1 : next;
    next = next < shut ? shut : next;
    gain = (float)next;
    for (uint32_t c = 0; c < channels; c++)
      out[c][i] = (float)(next * in[c][i]);
  }
  s->left = left;
  s->gain = gain;
}
KERNEL_BLOCK(noise_gate)

#ifdef KERNEL_STIMULI
// Over every threshold, so that the gate is open. The costliest are such as lie below every threshold: the gate is shut,
// and the gain is held at its least after one comparison more.
void noise_gate_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = (2 + kernel_noise(&seed)) * (costliest ? 1e-6f : 1.3f);
}
#endif
