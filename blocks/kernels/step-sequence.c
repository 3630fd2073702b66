// Step sequence: i = (i + 1) mod steps at a clock, the first step first; pitch = p[i] and the gate opens where on[i]. A
// silent step leaves the pitch and closes the gate; so does the end of a clock that has one (any text on sequencers).
#include "kernel.h"

typedef struct {
  uint32_t steps;
} step_sequence_params;

// Pitches, in octaves, and behind them a byte for each step, not 0 where it is on. A player may turn both at any time.
typedef struct {
  uint8_t next, sounding, steps;
  float pitch[];
} step_sequence_state;

uint32_t step_sequence_state_bytes(const kernel_env *env, const step_sequence_params *p) {
  (void)env;
  return sizeof(step_sequence_state) + (p->steps + (p->steps + 3) / 4) * sizeof(float);
}

KERNEL_INLINE uint8_t *step_sequence_on(step_sequence_state *s) {
  return (uint8_t *)(s->pitch + s->steps);
}

// The row to begin with, house judgement: semitones upward, every fourth step silent.
void step_sequence_start(step_sequence_state *s, const kernel_env *env, const step_sequence_params *p,
                         void *const buffers[]) {
  (void)env, (void)buffers;
  s->next = 0;
  s->sounding = 0;
  s->steps = (uint8_t)p->steps;
  for (uint32_t i = 0; i < p->steps; i++) {
    s->pitch[i] = (float)((real)i * (real)(1.0 / 12.0));
    step_sequence_on(s)[i] = i % 4 != 3;
  }
}

void step_sequence_event_clock(step_sequence_state *s, const kernel_env *env, const kernel_event *event,
                               const float *const in[], kernel_events *const sent[]) {
  (void)env, (void)in;
  uint32_t open = 0;
  if (event->value) {
    const uint32_t step = s->next;
    s->next = (uint8_t)(step + 1 < s->steps ? step + 1 : 0);
    if (step_sequence_on(s)[step]) {
      s->sounding = (uint8_t)step;
      open = 1;
    }
  }
  kernel_send(sent[0], event->moment, open);
}

void step_sequence_tick(step_sequence_state *s, const kernel_env *env, const float *const in[], float *const out[],
                        kernel_events *const sent[]) {
  (void)env, (void)in, (void)sent;
  *out[0] = s->pitch[s->sounding];
}

#ifdef KERNEL_STIMULI
// A sequence has no input but its clock.
void step_sequence_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  (void)costliest, (void)channel, (void)block;
  for (uint32_t i = 0; i < n; i++)
    x[i] = 0;
}
#endif
