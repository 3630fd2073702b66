// Slew limiter: y[n] = min(x[n], y[n-1] + r) where x[n] > y[n-1], else max(x[n], y[n-1] - f), once a control period;
// r = 1 / (rise rate), f = 1 / (fall rate) (any text on control voltages).
#include "kernel.h"

typedef struct {
  float rise, fall; // seconds for a change by 1
} slew_params;

typedef struct {
  float level;
  float rise, fall; // a control period
} slew_state;

uint32_t slew_state_bytes(const kernel_env *env, const slew_params *p) {
  (void)env, (void)p;
  return sizeof(slew_state);
}

void slew_update_rise(slew_state *s, const kernel_env *env, const slew_params *p) {
  s->rise = (float)(1 / ((real)p->rise * env->control_rate));
}

void slew_update_fall(slew_state *s, const kernel_env *env, const slew_params *p) {
  s->fall = (float)(1 / ((real)p->fall * env->control_rate));
}

void slew_start(slew_state *s, const kernel_env *env, const slew_params *p, void *const buffers[]) {
  (void)buffers;
  s->level = 0;
  slew_update_rise(s, env, p);
  slew_update_fall(s, env, p);
}

void slew_tick(slew_state *s, const kernel_env *env, const float *const in[], float *const out[]) {
  (void)env;
  const real goal = *in[0];
  real level = s->level;
  if (goal > level) {
    level += s->rise;
    level = level < goal ? level : goal;
  } else {
    level -= s->fall;
    level = level > goal ? level : goal;
  }
  s->level = (float)level;
  *out[0] = (float)level;
}

#ifdef KERNEL_STIMULI
// The costliest values take turns above and below, far apart, so that every step is cut short by neither.
void slew_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = costliest ? (block & 1 ? -1.0f : 1.0f) : kernel_noise(&seed);
}
#endif
