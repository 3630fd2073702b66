// Expander, downward: u = max(0, threshold - level), g = min(most, (ratio - 1) u); e[n] = e[n-1] + c (g - e[n-1]), c =
// 1 - exp(-1 / (time rate)) of the attack where g < e, else of the release; y = x gain(-e[n]), the level that of the
// greatest swing over the channels (U. Zolzer, editor, DAFX, the chapter on dynamics, from memory). Levels are counted in
// doublings.
#include "dynamics.h"

typedef struct {
  float threshold; // decibels
  float ratio;
  float most;            // decibels
  float attack, release; // seconds
} expander_params;

typedef struct {
  float reduction, threshold, most; // doublings
  float slope;                      // ratio - 1
  float attack, release;            // coefficients
} expander_state;

uint32_t expander_state_bytes(const kernel_env *env, const expander_params *p) {
  (void)env, (void)p;
  return sizeof(expander_state);
}

// A swing of -180 dB stands in for silence, which has no logarithm.
static const real expander_least = (real)1e-9;

void expander_update_threshold(expander_state *s, const kernel_env *env, const expander_params *p) {
  (void)env;
  s->threshold = (float)(dynamics_doublings * p->threshold);
}

void expander_update_ratio(expander_state *s, const kernel_env *env, const expander_params *p) {
  (void)env;
  s->slope = p->ratio - 1;
}

void expander_update_most(expander_state *s, const kernel_env *env, const expander_params *p) {
  (void)env;
  s->most = (float)(dynamics_doublings * p->most);
}

KERNEL_INLINE float expander_coefficient(const kernel_env *env, real seconds) {
  return (float)(1 - kernel_exp(-1 / (seconds * env->sample_rate)));
}

void expander_update_attack(expander_state *s, const kernel_env *env, const expander_params *p) {
  s->attack = expander_coefficient(env, p->attack);
}

void expander_update_release(expander_state *s, const kernel_env *env, const expander_params *p) {
  s->release = expander_coefficient(env, p->release);
}

void expander_start(expander_state *s, const kernel_env *env, const expander_params *p, void *const buffers[]) {
  (void)buffers;
  expander_update_threshold(s, env, p);
  expander_update_ratio(s, env, p);
  expander_update_most(s, env, p);
  expander_update_attack(s, env, p);
  expander_update_release(s, env, p);
  s->reduction = 0;
}

KERNEL_INLINE void expander_run(expander_state *s, const kernel_env *env, const float *const in[], float *const out[],
                                uint32_t n) {
  const uint32_t channels = env->channels;
  const real threshold = s->threshold, slope = s->slope, most = s->most, attack = s->attack, release = s->release;
  float reduction = s->reduction;
  for (uint32_t i = 0; i < n; i++) {
    const real under = threshold - kernel_log2(dynamics_swing(in, channels, i, expander_least));
    real wanted = under > 0 ? slope * under : 0;
    wanted = wanted < most ? wanted : most;
    reduction = (float)(reduction + (wanted < reduction ? attack : release) * (wanted - reduction));
    const real gain = kernel_exp2(-reduction);
    for (uint32_t c = 0; c < channels; c++)
      out[c][i] = (float)(gain * in[c][i]);
  }
  s->reduction = reduction;
}
KERNEL_BLOCK(expander)

#ifdef KERNEL_STIMULI
// Loud samples and such as lie below every threshold take turns, so that the reduction rises and falls by turns. The
// costliest are all soft, so that all lie under the threshold, and rise and fall.
void expander_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = (2 + kernel_noise(&seed)) * (i & 1 ? 1e-5f : costliest ? 2e-5f : 1.3f);
}
#endif
