// Trigger to gate: open from a trigger at sample m to sample m + length; a trigger that comes while it is open closes it
// and opens it again (any text on gates).
#include "kernel.h"
#include "unheard.h"

typedef struct {
  float length; // seconds
} trigger_to_gate_params;

typedef struct {
  uint32_t open;
  uint32_t left; // samples from the beginning of the block to where the gate closes
  uint32_t samples;
} trigger_to_gate_state;

uint32_t trigger_to_gate_state_bytes(const kernel_env *env, const trigger_to_gate_params *p) {
  (void)env, (void)p;
  return sizeof(trigger_to_gate_state);
}

// A gate that is open keeps its length.
void trigger_to_gate_update_length(trigger_to_gate_state *s, const kernel_env *env, const trigger_to_gate_params *p) {
  const uint32_t samples = (uint32_t)((real)p->length * env->sample_rate + 0.5f);
  s->samples = samples > 0 ? samples : 1;
}

void trigger_to_gate_start(trigger_to_gate_state *s, const kernel_env *env, const trigger_to_gate_params *p,
                           void *const buffers[]) {
  (void)buffers;
  s->open = 0;
  s->left = 0;
  trigger_to_gate_update_length(s, env, p);
}

void trigger_to_gate_event_trigger(trigger_to_gate_state *s, const kernel_env *env, const kernel_event *event,
                                   const float *const in[], kernel_events *const sent[]) {
  (void)env, (void)in;
  if (!event->value)
    return;
  const uint32_t moment = event->moment;
  if (s->open)
    kernel_send(sent[0], s->left < moment ? s->left : moment, 0);
  kernel_send(sent[0], moment, 1);
  s->open = 1;
  s->left = moment + s->samples;
}

void trigger_to_gate_tick(trigger_to_gate_state *s, const kernel_env *env, const float *const in[], float *const out[],
                          kernel_events *const sent[]) {
  (void)in, (void)out;
  // What is left goes on counting while the gate is closed, where it means nothing: no period is a costly one.
  const uint32_t left = s->left;
  s->left = left - env->block_size;
  if (s->open & (left < env->block_size)) {
    s->open = 0;
    kernel_send(sent[0], left, 0);
  }
}

UNHEARD_STIMULUS(trigger_to_gate)
