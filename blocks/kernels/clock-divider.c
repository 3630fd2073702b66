// Clock divider: i = (i + 1) mod division at a clock, sent where i was 0, so that the first goes through (any text on
// clocks).
#include "kernel.h"

typedef struct {
  uint32_t division;
} clock_divider_params;

typedef struct {
  uint32_t count, division;
} clock_divider_state;

uint32_t clock_divider_state_bytes(const kernel_env *env, const clock_divider_params *p) {
  (void)env, (void)p;
  return sizeof(clock_divider_state);
}

void clock_divider_start(clock_divider_state *s, const kernel_env *env, const clock_divider_params *p,
                         void *const buffers[]) {
  (void)env, (void)buffers;
  s->count = 0;
  s->division = p->division;
}

void clock_divider_event_clock(clock_divider_state *s, const kernel_env *env, const kernel_event *event,
                               const float *const in[], kernel_events *const sent[]) {
  (void)env, (void)in;
  if (!event->value)
    return;
  const uint32_t count = s->count;
  if (count == 0)
    kernel_send(sent[0], event->moment, 1);
  s->count = count + 1 < s->division ? count + 1 : 0;
}

// All is done where clocks come.
void clock_divider_tick(clock_divider_state *s, const kernel_env *env, const float *const in[], float *const out[],
                        kernel_events *const sent[]) {
  (void)s, (void)env, (void)in, (void)out, (void)sent;
}

#ifdef KERNEL_STIMULI
// A divider has no input but its clock.
void clock_divider_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  (void)costliest, (void)channel, (void)block;
  for (uint32_t i = 0; i < n; i++)
    x[i] = 0;
}
#endif
