// Clock multiplier: ticks at t[k] + floor(j T / multiply), T = t[k] - t[k-1] and j = 0 .. multiply - 1, at clock k, in whole
// samples: a tick comes by the quotient of T and multiply after the one before, and by one sample more wherever the
// remainders that were left out add up to one (Bresenham, IBM Systems Journal 4(1), 1965, from memory). The first clock,
// from which nothing is known of the tempo, gives its own tick alone.
#include "unheard.h"

typedef struct {
  uint32_t multiply;
} clock_multiplier_params;

// Times are in samples from the beginning of the block.
typedef struct {
  int32_t age;              // of the last clock
  uint32_t next;            // tick
  uint32_t left;            // ticks of the last clock to come
  uint32_t step, rest, sum; // quotient and remainder, and what the remainders come to
  uint32_t multiply;
} clock_multiplier_state;

// The age that none surpasses, 6 hours at 48 kHz; a clock after it is a first one.
static const int32_t clock_multiplier_oldest = (int32_t)1 << 30;

uint32_t clock_multiplier_state_bytes(const kernel_env *env, const clock_multiplier_params *p) {
  (void)env, (void)p;
  return sizeof(clock_multiplier_state);
}

void clock_multiplier_start(clock_multiplier_state *s, const kernel_env *env, const clock_multiplier_params *p,
                            void *const buffers[]) {
  (void)env, (void)buffers;
  s->age = clock_multiplier_oldest;
#ifdef KERNEL_STIMULI
  s->age = 24000; // so that the ticks of the first clock are not over before the second
#endif
  s->next = 0;
  s->left = 0;
  s->step = 0;
  s->rest = 0;
  s->sum = 0;
  s->multiply = p->multiply;
}

// Sends the ticks that fall before a sample of the block, or with it all that are left, none later than it.
KERNEL_INLINE void clock_multiplier_send(clock_multiplier_state *s, kernel_events *ticks, uint32_t end, int all) {
  uint32_t left = s->left, next = s->next, sum = s->sum;
  for (; left > 0 && (next < end || all); left--) {
    kernel_send(ticks, next < end ? next : end, 1);
    next += s->step;
    sum += s->rest;
    if (sum >= s->multiply) {
      sum -= s->multiply;
      next++;
    }
  }
  s->left = left;
  s->next = next;
  s->sum = sum;
}

void clock_multiplier_event_clock(clock_multiplier_state *s, const kernel_env *env, const kernel_event *event,
                                  const float *const in[], kernel_events *const sent[]) {
  (void)env, (void)in;
  if (!event->value)
    return;
  const uint32_t moment = event->moment;
  clock_multiplier_send(s, sent[0], moment, 1); // a clock that comes early: every clock has all its ticks
  s->next = moment;
  s->sum = 0;
  s->left = 1;
  if (s->age < clock_multiplier_oldest) {
    const uint32_t elapsed = (uint32_t)(s->age + (int32_t)moment);
    s->step = elapsed / s->multiply;
    s->rest = elapsed % s->multiply;
    s->left = s->multiply;
  }
  s->age = -(int32_t)moment;
}

void clock_multiplier_tick(clock_multiplier_state *s, const kernel_env *env, const float *const in[],
                           float *const out[], kernel_events *const sent[]) {
  (void)in, (void)out;
  clock_multiplier_send(s, sent[0], env->block_size, 0);
  s->next -= env->block_size; // what has no tick left is set by the next clock
  if (s->age < clock_multiplier_oldest)
    s->age += (int32_t)env->block_size;
}

UNHEARD_STIMULUS(clock_multiplier)
