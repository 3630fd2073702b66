// Smoother: y[n] = y[n-1] + a (x[n] - y[n-1]), once a control period; a = 1 - exp(-1 / (time x rate)) (the one-pole
// lowpass of any text on filters).
#include "kernel.h"

typedef struct {
  float time; // seconds in which 63 % of a move are made
} smoother_params;

typedef struct {
  float level;
  float share; // of what is missing that is made up in a control period
} smoother_state;

uint32_t smoother_state_bytes(const kernel_env *env, const smoother_params *p) {
  (void)env, (void)p;
  return sizeof(smoother_state);
}

void smoother_update_time(smoother_state *s, const kernel_env *env, const smoother_params *p) {
  s->share = (float)(1 - kernel_exp(-1 / ((real)p->time * env->control_rate)));
}

void smoother_start(smoother_state *s, const kernel_env *env, const smoother_params *p, void *const buffers[]) {
  (void)buffers;
  s->level = 0;
  smoother_update_time(s, env, p);
}

void smoother_tick(smoother_state *s, const kernel_env *env, const float *const in[], float *const out[]) {
  (void)env;
  const real level = s->level;
  s->level = (float)(level + s->share * ((real)*in[0] - level));
  *out[0] = s->level;
}

#ifdef KERNEL_STIMULI
// The costliest values lie far from the level, by turns above and below, so that the difference is a sum.
void smoother_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) + (costliest ? (block & 1 ? -3.0f : 3.0f) : 0.0f);
}
#endif
