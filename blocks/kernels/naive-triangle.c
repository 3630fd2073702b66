// Plain triangle: phase += pitch / sample rate, less 1 at the wrap; y[n] = 1 - 4 |phase - 1/2| (any text on synthesis).
#include "kernel.h"

typedef struct {
  float pitch; // hertz
} naive_triangle_params;

typedef struct {
  float phase;     // turns, 0 to 1
  float increment; // turns a sample
} naive_triangle_state;

uint32_t naive_triangle_state_bytes(const kernel_env *env, const naive_triangle_params *p) {
  (void)env, (void)p;
  return sizeof(naive_triangle_state);
}

void naive_triangle_update_increment(naive_triangle_state *s, const kernel_env *env, const naive_triangle_params *p) {
  s->increment = (float)(1 / (real)env->sample_rate * p->pitch);
}

void naive_triangle_start(naive_triangle_state *s, const kernel_env *env, const naive_triangle_params *p,
                          void *const buffers[]) {
  (void)buffers;
  s->phase = 0;
  naive_triangle_update_increment(s, env, p);
}

void naive_triangle_event_sync(naive_triangle_state *s, const kernel_env *env, const kernel_event *event,
                               const float *const in[]) {
  (void)env, (void)in;
  if (event->value)
    s->phase = 0;
}

KERNEL_INLINE void naive_triangle_run(naive_triangle_state *s, const kernel_env *env, const float *const in[],
                                      float *const out[], uint32_t n) {
  float *y = out[0];
  real phase = s->phase;
#ifdef MOVED_PITCH_AUDIO
  const float *pitch = in[0];
  const real period = 1 / (real)env->sample_rate;
#else
  (void)env, (void)in;
  const real increment = s->increment;
#endif
  for (uint32_t i = 0; i < n; i++) {
#ifdef MOVED_PITCH_AUDIO
    const real increment = period * pitch[i];
#endif
    y[i] = (float)(1 - 4 * kernel_abs(phase - (real)0.5));
    phase += increment;
    if (phase >= 1)
      phase -= 1;
  }
  s->phase = (float)phase;
}
KERNEL_BLOCK(naive_triangle)

#ifdef KERNEL_STIMULI
// A moved pitch; the costliest wraps oftenest.
void naive_triangle_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  (void)channel, (void)block;
  kernel_ramp(x, n, costliest ? 19000.0f : 200.0f, costliest ? 20000.0f : 2000.0f);
}
#endif
