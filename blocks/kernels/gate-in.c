// Gate input: an event where the lowest bit of the port differs from that of the control period before.
#include "kernel.h"

typedef struct {
  float rate; // greatest edges a second, which only the catalog needs
} gate_in_params;

typedef struct {
  uint32_t level;
} gate_in_state;

uint32_t gate_in_state_bytes(const kernel_env *env, const gate_in_params *p) {
  (void)env, (void)p;
  return sizeof(gate_in_state);
}

void gate_in_start(gate_in_state *s, const kernel_env *env, const gate_in_params *p, void *const buffers[]) {
  (void)env, (void)p, (void)buffers;
  s->level = 0;
}

void gate_in_tick(gate_in_state *s, const kernel_env *env, const float *const in[], float *const out[],
                  kernel_events *const sent[]) {
  (void)env, (void)out;
  const uint32_t level = kernel_bits(*in[0]) & 1u;
  if (level != s->level) {
    s->level = level;
    kernel_send(sent[0], 0, level);
  }
}

#ifdef KERNEL_STIMULI
// Words of the port. The costliest have an edge in every control period.
void gate_in_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  (void)channel;
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_float(costliest ? block & 1 : block >> 2 & 1);
}
#endif
