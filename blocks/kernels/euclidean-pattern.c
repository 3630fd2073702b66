// Euclidean pattern: step i sounds where (i + rotation) beats mod steps < beats (G. Toussaint, The Euclidean Algorithm
// Generates Traditional Musical Rhythms, BRIDGES 2005). The remainder is kept from step to step, so that a clock costs
// no division. A silent step closes the gate; so does the end of a clock that has one.
#include "kernel.h"

typedef struct {
  uint32_t steps, beats, rotation;
} euclidean_pattern_params;

typedef struct {
  uint32_t step, remainder;
  uint32_t steps, beats;
} euclidean_pattern_state;

uint32_t euclidean_pattern_state_bytes(const kernel_env *env, const euclidean_pattern_params *p) {
  (void)env, (void)p;
  return sizeof(euclidean_pattern_state);
}

void euclidean_pattern_update_pattern(euclidean_pattern_state *s, const kernel_env *env,
                                      const euclidean_pattern_params *p) {
  (void)env;
  s->steps = p->steps;
  s->beats = p->beats < p->steps ? p->beats : p->steps;
  if (s->step >= p->steps)
    s->step = 0;
  s->remainder = (s->step + p->rotation) * s->beats % s->steps;
}

void euclidean_pattern_start(euclidean_pattern_state *s, const kernel_env *env, const euclidean_pattern_params *p,
                             void *const buffers[]) {
  (void)buffers;
  s->step = 0;
  euclidean_pattern_update_pattern(s, env, p);
}

void euclidean_pattern_event_clock(euclidean_pattern_state *s, const kernel_env *env, const kernel_event *event,
                                   const float *const in[], kernel_events *const sent[]) {
  (void)env, (void)in;
  uint32_t open = 0;
  if (event->value) {
    const uint32_t remainder = s->remainder;
    open = remainder < s->beats;
    const uint32_t ahead = remainder + s->beats;
    s->remainder = ahead < s->steps ? ahead : ahead - s->steps;
    // After a whole pattern the remainder is where it was.
    s->step = s->step + 1 < s->steps ? s->step + 1 : 0;
  }
  kernel_send(sent[0], event->moment, open);
}

// All is done where clocks come.
void euclidean_pattern_tick(euclidean_pattern_state *s, const kernel_env *env, const float *const in[],
                            float *const out[], kernel_events *const sent[]) {
  (void)s, (void)env, (void)in, (void)out, (void)sent;
}

#ifdef KERNEL_STIMULI
// A pattern has no input but its clock.
void euclidean_pattern_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  (void)costliest, (void)channel, (void)block;
  for (uint32_t i = 0; i < n; i++)
    x[i] = 0;
}
#endif
