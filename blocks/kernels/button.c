// Button: the last eight control periods are kept as bits; an event of value 1 where all of them are closed, and of value 0
// where all are open again. Eight periods are house judgement: 8 ms at 1 kHz, in which contacts come to rest.
#include "kernel.h"

typedef struct {
  float rate; // greatest events a second, which only the catalog needs
} button_params;

typedef struct {
  uint16_t recent, closed;
} button_state;

uint32_t button_state_bytes(const kernel_env *env, const button_params *p) {
  (void)env, (void)p;
  return sizeof(button_state);
}

void button_start(button_state *s, const kernel_env *env, const button_params *p, void *const buffers[]) {
  (void)env, (void)p, (void)buffers;
  s->recent = 0;
  s->closed = 0;
}

void button_tick(button_state *s, const kernel_env *env, const float *const in[], float *const out[],
                 kernel_events *const sent[]) {
  (void)env, (void)out;
  const uint32_t recent = ((uint32_t)s->recent << 1 | (kernel_bits(*in[0]) & 1u)) & 0xffu;
  s->recent = (uint16_t)recent;
  if (recent == (s->closed ? 0u : 0xffu)) {
    s->closed = !s->closed;
    kernel_send(sent[0], 0, s->closed);
  }
}

#ifdef KERNEL_STIMULI
// Words of the port. The costliest are closed and open for eight control periods in turn, so that events follow.
void button_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  (void)channel;
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_float(costliest ? ~block >> 3 & 1 : block & 1);
}
#endif
