// Arithmetic on control values: u = a x, v = b y, and u + v, min(u, v), max(u, v) or u v, with c added, once a control
// period.
#include "kernel.h"

#if !defined(OPERATION_SUM) && !defined(OPERATION_MIN) && !defined(OPERATION_MAX) && !defined(OPERATION_PRODUCT)
#error "control-maths: define OPERATION_SUM, OPERATION_MIN, OPERATION_MAX or OPERATION_PRODUCT"
#endif

typedef struct {
  float a, b, c;
} control_maths_params;

typedef struct {
  float a, b, c;
} control_maths_state;

uint32_t control_maths_state_bytes(const kernel_env *env, const control_maths_params *p) {
  (void)env, (void)p;
  return sizeof(control_maths_state);
}

void control_maths_update_a(control_maths_state *s, const kernel_env *env, const control_maths_params *p) {
  (void)env;
  s->a = p->a;
}

void control_maths_update_b(control_maths_state *s, const kernel_env *env, const control_maths_params *p) {
  (void)env;
  s->b = p->b;
}

void control_maths_update_c(control_maths_state *s, const kernel_env *env, const control_maths_params *p) {
  (void)env;
  s->c = p->c;
}

void control_maths_start(control_maths_state *s, const kernel_env *env, const control_maths_params *p,
                         void *const buffers[]) {
  (void)buffers;
  control_maths_update_a(s, env, p);
  control_maths_update_b(s, env, p);
  control_maths_update_c(s, env, p);
}

void control_maths_tick(control_maths_state *s, const kernel_env *env, const float *const in[], float *const out[]) {
  (void)env;
  const real u = s->a * (real)*in[0], v = s->b * (real)*in[1];
#if defined(OPERATION_SUM)
  const real w = u + v;
#elif defined(OPERATION_MIN)
  const real w = u < v ? u : v;
#elif defined(OPERATION_MAX)
  const real w = u > v ? u : v;
#else
  const real w = u * v;
#endif
  *out[0] = (float)(w + s->c);
}

#ifdef KERNEL_STIMULI
// Both values are noise, of which either is the greater as often. The costliest is noise of both signs, so that sums
// cancel, which takes longest where floats are made by software.
void control_maths_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = (costliest ? 0.0f : 2.0f) + kernel_noise(&seed);
}
#endif
