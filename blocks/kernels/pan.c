// Pan of a mono signal at position p: l[n] = gl x[n], r[n] = gr x[n]. Equal power gl = cos(a), gr = sin(a),
// a = (p + 1) pi / 4; linear gr = (p + 1) / 2, gl = 1 - gr.
#include "kernel.h"

#if !defined(LAW_EQUAL_POWER) && !defined(LAW_LINEAR)
#error "pan: define LAW_EQUAL_POWER or LAW_LINEAR"
#endif

typedef struct {
  float position; // -1 left to 1 right
} pan_params;

typedef struct {
  float left, right;
} pan_state;

uint32_t pan_state_bytes(const kernel_env *env, const pan_params *p) {
  (void)env, (void)p;
  return sizeof(pan_state);
}

KERNEL_INLINE void pan_gains(real position, real *left, real *right) {
#ifdef LAW_EQUAL_POWER
  const real angle = (position + 1) * (kernel_pi / 4);
  *left = kernel_cos(angle);
  *right = kernel_sin(angle);
#else
  *right = (position + 1) * (real)0.5;
  *left = 1 - *right;
#endif
}

void pan_update_gains(pan_state *s, const kernel_env *env, const pan_params *p) {
  (void)env;
  real left, right;
  pan_gains(p->position, &left, &right);
  s->left = (float)left;
  s->right = (float)right;
}

void pan_start(pan_state *s, const kernel_env *env, const pan_params *p, void *const buffers[]) {
  (void)buffers;
  pan_update_gains(s, env, p);
}

KERNEL_INLINE void pan_run(pan_state *s, const kernel_env *env, const float *const in[], float *const out[],
                           uint32_t n) {
  (void)env;
  const float *x = in[0];
  float *l = out[0], *r = out[1];
#ifdef MOVED_POSITION_AUDIO
  (void)s;
  const float *position = in[1];
  real left, right;
#else
  const real left = s->left, right = s->right;
#endif
  for (uint32_t i = 0; i < n; i++) {
#ifdef MOVED_POSITION_AUDIO
    pan_gains(position[i], &left, &right);
#endif
    const real sample = x[i];
    l[i] = (float)(left * sample);
    r[i] = (float)(right * sample);
  }
}
KERNEL_BLOCK(pan)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal, and the costliest positions lie far right, where sine and cosine reduce their
// angle.
void pan_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  if (channel == KERNEL_MOVED) {
    kernel_ramp(x, n, costliest ? 0.6f : -0.8f, costliest ? 1.0f : 0.8f);
    return;
  }
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-38f : 1.0f);
}
#endif
