// Random walk: y[n] = fold(y[n-1] + r u[n]), once a control period, u even between -1 and 1 by s = 1664525 s + 1013904223
// in 32 bits (D. Knuth, The Art of Computer Programming 2), and fold(y) = 1 - abs(1 - abs(y)), which throws back at 0
// and 1 what went beyond (any text on Brownian motion with reflecting bounds).
#include "kernel.h"
#include "unheard.h"

typedef struct {
  float speed;
} random_walk_params;

typedef struct {
  uint32_t seed;
  float level, reach;
} random_walk_state;

uint32_t random_walk_state_bytes(const kernel_env *env, const random_walk_params *p) {
  (void)env, (void)p;
  return sizeof(random_walk_state);
}

// Steps even between -r and r have the variance r^2 / 3, and in a second their sum has as many times that as there are
// steps. A step longer than the way from bound to bound would come back from beyond both.
void random_walk_update_reach(random_walk_state *s, const kernel_env *env, const random_walk_params *p) {
  const real reach = p->speed * kernel_sqrt(3 / (real)env->control_rate);
  s->reach = (float)(reach > 1 ? 1 : reach);
}

void random_walk_start(random_walk_state *s, const kernel_env *env, const random_walk_params *p,
                       void *const buffers[]) {
  (void)buffers;
  s->seed = 0;
  s->level = 0.5f;
  random_walk_update_reach(s, env, p);
}

void random_walk_tick(random_walk_state *s, const kernel_env *env, const float *const in[], float *const out[]) {
  (void)env, (void)in;
  s->seed = 1664525u * s->seed + 1013904223u;
  const real chance = (real)(int32_t)s->seed * (real)(1.0 / 2147483648.0);
  const real beyond = s->level + s->reach * chance;
  s->level = (float)(1 - kernel_abs(1 - kernel_abs(beyond)));
  *out[0] = s->level;
}

UNHEARD_STIMULUS(random_walk)
