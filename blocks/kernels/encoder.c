// Encoder: two contacts that open and close a quarter of a step apart. A contact has changed where four readings in a row
// say so. The pairs 00, 01, 11, 10 stand for 0, 1, 2, 3; one more is a quarter of a step forward, one less a quarter back,
// two away tells nothing. Four quarters are a step, by which the value goes 1 / steps on or back, held within 0 and 1. The
// Gray code of such contacts is common practice; four readings and four quarters from click to click are house judgement.
#include "kernel.h"

typedef struct {
  uint32_t steps;
  float rate; // greatest steps a second, which only the catalog needs
} encoder_params;

typedef struct {
  uint32_t recent;  // readings, two bits each, the latest lowest
  uint32_t pair;    // the contacts at rest
  int32_t quarters; // since the last step
  int32_t step, steps;
  float scale;
} encoder_state;

uint32_t encoder_state_bytes(const kernel_env *env, const encoder_params *p) {
  (void)env, (void)p;
  return sizeof(encoder_state);
}

void encoder_start(encoder_state *s, const kernel_env *env, const encoder_params *p, void *const buffers[]) {
  (void)env, (void)buffers;
  s->recent = 0;
  s->pair = 0;
  s->quarters = 0;
  s->step = 0;
  s->steps = (int32_t)p->steps;
  s->scale = (float)(1 / (real)p->steps);
}

KERNEL_INLINE uint32_t encoder_place(uint32_t pair) {
  return pair ^ pair >> 1;
}

void encoder_tick(encoder_state *s, const kernel_env *env, const float *const in[], float *const out[],
                  kernel_events *const sent[]) {
  (void)env;
  const uint32_t recent = s->recent << 2 | (kernel_bits(*in[0]) & 3u);
  const uint32_t closed = recent & recent >> 2 & recent >> 4 & recent >> 6;
  const uint32_t some = recent | recent >> 2 | recent >> 4 | recent >> 6;
  const uint32_t pair = (s->pair | closed) & some & 3u;
  const uint32_t turned = (encoder_place(pair) - encoder_place(s->pair)) & 3u;
  s->recent = recent;
  s->pair = pair;
  if (turned & 1u) {
    const int32_t quarters = s->quarters + 2 - (int32_t)turned;
    s->quarters = quarters;
    if (quarters == 4 || quarters == -4) {
      const uint32_t back = quarters < 0;
      const int32_t step = s->step + (back ? -1 : 1);
      s->quarters = 0;
      s->step = step < 0 ? 0 : step > s->steps ? s->steps : step;
      kernel_send(sent[back], 0, 1);
    }
  }
  *out[0] = (float)(s->scale * (real)s->step);
}

#ifdef KERNEL_STIMULI
// Words of the port: contacts that turn a quarter of a step every 16 control periods, and at most every four.
void encoder_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  (void)channel;
  const uint32_t place = block >> (costliest ? 2 : 4) & 3u;
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_float(place ^ place >> 1);
}
#endif
