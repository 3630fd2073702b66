// Sample and hold: y = x[n] at a clock, else y stays (any text on control voltages).
#include "kernel.h"

typedef kernel_nothing sample_and_hold_params;

typedef struct {
  float held;
} sample_and_hold_state;

uint32_t sample_and_hold_state_bytes(const kernel_env *env, const sample_and_hold_params *p) {
  (void)env, (void)p;
  return sizeof(sample_and_hold_state);
}

void sample_and_hold_start(sample_and_hold_state *s, const kernel_env *env, const sample_and_hold_params *p,
                           void *const buffers[]) {
  (void)env, (void)p, (void)buffers;
  s->held = 0;
}

void sample_and_hold_event_clock(sample_and_hold_state *s, const kernel_env *env, const kernel_event *event,
                                 const float *const in[]) {
  (void)env;
  if (event->value)
    s->held = in[0][event->moment];
}

KERNEL_INLINE void sample_and_hold_run(sample_and_hold_state *s, const kernel_env *env, const float *const in[],
                                       float *const out[], uint32_t n) {
  (void)env, (void)in, (void)n;
  *out[0] = s->held;
}
KERNEL_BLOCK(sample_and_hold)

#ifdef KERNEL_STIMULI
// No sample costs more than another, since it is only copied.
void sample_and_hold_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  (void)costliest;
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed);
}
#endif
