// Gate output: an event of value 1 opens the port for a set number of control periods, at least one, and begins the count
// anew where the port is still open.
#include "kernel.h"

typedef struct {
  float length; // seconds
} gate_out_params;

typedef struct {
  uint32_t left, length; // control periods
} gate_out_state;

uint32_t gate_out_state_bytes(const kernel_env *env, const gate_out_params *p) {
  (void)env, (void)p;
  return sizeof(gate_out_state);
}

void gate_out_start(gate_out_state *s, const kernel_env *env, const gate_out_params *p, void *const buffers[]) {
  (void)buffers;
  const uint32_t length = (uint32_t)((real)p->length * env->control_rate + 0.5f);
  s->left = 0;
  s->length = length > 0 ? length : 1;
}

void gate_out_event_in(gate_out_state *s, const kernel_env *env, const kernel_event *event, const float *const in[]) {
  (void)env, (void)in;
  if (event->value)
    s->left = s->length;
}

void gate_out_tick(gate_out_state *s, const kernel_env *env, const float *const in[], float *const out[]) {
  (void)env, (void)in;
  const uint32_t left = s->left;
  *out[0] = kernel_float(left > 0);
  if (left > 0)
    s->left = left - 1;
}

#ifdef KERNEL_STIMULI
// A gate output has no input but its events.
void gate_out_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  (void)costliest, (void)channel, (void)block;
  for (uint32_t i = 0; i < n; i++)
    x[i] = 0;
}
#endif
