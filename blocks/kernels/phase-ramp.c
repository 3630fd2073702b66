// Phase ramp: p += pitch / sample rate, less 1 at the wrap; y[n] = p (any text on synthesis).
#include "phase.h"

typedef struct {
  float pitch; // hertz
} phase_ramp_params;

typedef struct {
  uint32_t phase;
  uint32_t increment; // a sample
} phase_ramp_state;

uint32_t phase_ramp_state_bytes(const kernel_env *env, const phase_ramp_params *p) {
  (void)env, (void)p;
  return sizeof(phase_ramp_state);
}

void phase_ramp_update_increment(phase_ramp_state *s, const kernel_env *env, const phase_ramp_params *p) {
  s->increment = phase_increment(phase_per_hertz(env), p->pitch);
}

void phase_ramp_start(phase_ramp_state *s, const kernel_env *env, const phase_ramp_params *p, void *const buffers[]) {
  (void)buffers;
  s->phase = 0;
  phase_ramp_update_increment(s, env, p);
}

void phase_ramp_event_sync(phase_ramp_state *s, const kernel_env *env, const kernel_event *event,
                           const float *const in[]) {
  (void)env, (void)in;
  if (event->value)
    s->phase = 0;
}

KERNEL_INLINE void phase_ramp_run(phase_ramp_state *s, const kernel_env *env, const float *const in[],
                                  float *const out[], uint32_t n) {
  float *y = out[0];
  uint32_t phase = s->phase;
#ifdef MOVED_PITCH_AUDIO
  const float *pitch = in[0];
  const real per_hertz = phase_per_hertz(env);
#else
  (void)env, (void)in;
  const uint32_t increment = s->increment;
#endif
  for (uint32_t i = 0; i < n; i++) {
#ifdef MOVED_PITCH_AUDIO
    const uint32_t increment = phase_increment(per_hertz, pitch[i]);
#endif
    // The highest 24 bits, which a float holds, so that rounding never makes it 1.
    y[i] = (float)((real)(int32_t)(phase >> 8) * (real)(1.0 / 16777216.0));
    phase += increment;
  }
  s->phase = phase;
}
KERNEL_BLOCK(phase_ramp)

#ifdef KERNEL_STIMULI
// A moved pitch; none costs more than another.
void phase_ramp_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  (void)costliest, (void)channel, (void)block;
  kernel_ramp(x, n, 200.0f, 2000.0f);
}
#endif
