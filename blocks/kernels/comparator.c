// Comparator: g[n] = 1 where x[n] is above t + h / 2, 0 where it is not above t - h / 2, else g[n-1], once a control
// period; an event where g changes (O. Schmitt, A Thermionic Trigger, Journal of Scientific Instruments 15, 1938).
#include "kernel.h"

typedef struct {
  float threshold, hysteresis;
  float rate; // greatest events a second, which only the catalog needs
} comparator_params;

typedef struct {
  uint32_t open;
  float edges[2]; // above which a closed gate opens and an open one stays
} comparator_state;

uint32_t comparator_state_bytes(const kernel_env *env, const comparator_params *p) {
  (void)env, (void)p;
  return sizeof(comparator_state);
}

void comparator_update_edges(comparator_state *s, const kernel_env *env, const comparator_params *p) {
  (void)env;
  const real half = 0.5f * (real)p->hysteresis;
  s->edges[0] = (float)(p->threshold + half);
  s->edges[1] = (float)(p->threshold - half);
}

void comparator_start(comparator_state *s, const kernel_env *env, const comparator_params *p, void *const buffers[]) {
  (void)buffers;
  s->open = 0;
  comparator_update_edges(s, env, p);
}

void comparator_tick(comparator_state *s, const kernel_env *env, const float *const in[], float *const out[],
                     kernel_events *const sent[]) {
  (void)env, (void)out;
  const uint32_t open = *in[0] > s->edges[s->open];
  if (open != s->open) {
    s->open = open;
    kernel_send(sent[0], 0, open);
  }
}

#ifdef KERNEL_STIMULI
// Far above and far below in turn, wherever the threshold lies. The costliest crosses it in every control period.
void comparator_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  (void)channel;
  for (uint32_t i = 0; i < n; i++)
    x[i] = (costliest ? block & 1 : block >> 2 & 1) ? 27.3f : -27.3f;
}
#endif
