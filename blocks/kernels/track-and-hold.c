// Track and hold: y = x[n] while the clock is high, and the sample at which it fell afterwards (any text on control
// voltages).
#include "kernel.h"

typedef kernel_nothing track_and_hold_params;

typedef struct {
  uint32_t high;
  float held;
} track_and_hold_state;

uint32_t track_and_hold_state_bytes(const kernel_env *env, const track_and_hold_params *p) {
  (void)env, (void)p;
  return sizeof(track_and_hold_state);
}

void track_and_hold_start(track_and_hold_state *s, const kernel_env *env, const track_and_hold_params *p,
                          void *const buffers[]) {
  (void)env, (void)p, (void)buffers;
  s->high = 0;
  s->held = 0;
}

// A clock that is low already holds what it holds.
void track_and_hold_event_clock(track_and_hold_state *s, const kernel_env *env, const kernel_event *event,
                                const float *const in[]) {
  (void)env;
  if (s->high)
    s->held = in[0][event->moment];
  s->high = event->value;
}

KERNEL_INLINE void track_and_hold_run(track_and_hold_state *s, const kernel_env *env, const float *const in[],
                                      float *const out[], uint32_t n) {
  (void)env;
  if (s->high)
    s->held = in[0][n - 1];
  *out[0] = s->held;
}
KERNEL_BLOCK(track_and_hold)

#ifdef KERNEL_STIMULI
// No sample costs more than another, since it is only copied. The clock is high, which takes longer than holding.
void track_and_hold_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  (void)costliest;
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed);
}
#endif
