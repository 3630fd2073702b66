// Clock follower: T = t[k] - t[k-1] at clock k; ticks at t[k] + j T / multiply for j = 0 .. multiply - 1 (any text on
// clocks). The first clock, from which nothing is known of the tempo, gives its own tick alone.
#include "unheard.h"

typedef struct {
  uint32_t multiply;
} clock_follower_params;

// Times are in samples from the beginning of the block, kept and compared as floats in either precision.
typedef struct {
  int32_t age;    // of the last clock
  float period;   // seconds
  float interval; // from tick to tick
  float next;     // tick
  uint32_t left;  // ticks of the last clock to come
  uint32_t multiply;
} clock_follower_state;

// The age that none surpasses, 6 hours at 48 kHz; a clock after it is a first one.
static const int32_t clock_follower_oldest = (int32_t)1 << 30;

uint32_t clock_follower_state_bytes(const kernel_env *env, const clock_follower_params *p) {
  (void)env, (void)p;
  return sizeof(clock_follower_state);
}

void clock_follower_start(clock_follower_state *s, const kernel_env *env, const clock_follower_params *p,
                          void *const buffers[]) {
  (void)env, (void)buffers;
  s->age = clock_follower_oldest;
#ifdef KERNEL_STIMULI
  s->age = 1 << 22; // so that no tick of the first clock comes before the second, which has all of them to send
#endif
  s->period = 0;
  s->interval = 0;
  s->next = 0;
  s->left = 0;
  s->multiply = p->multiply;
}

// Sends the ticks that fall before a time, none later than the end.
KERNEL_INLINE void clock_follower_send(clock_follower_state *s, kernel_events *ticks, uint32_t end, float until) {
  float next = s->next;
  uint32_t left = s->left;
  for (; next < until && left > 0; left--) {
    kernel_send(ticks, next < (float)end ? (uint32_t)next : end, 1);
    next += s->interval;
  }
  s->next = next;
  s->left = left;
}

void clock_follower_event_clock(clock_follower_state *s, const kernel_env *env, const kernel_event *event,
                                const float *const in[], kernel_events *const sent[]) {
  (void)in;
  if (!event->value)
    return;
  const uint32_t moment = event->moment;
  clock_follower_send(s, sent[0], moment, INFINITY); // one that comes early: every clock has all its ticks
  s->next = (float)moment;
  s->left = 1;
  if (s->age < clock_follower_oldest) {
    const real elapsed = (real)(s->age + (int32_t)moment);
    s->period = (float)(elapsed / env->sample_rate);
    s->interval = (float)(elapsed / (real)s->multiply);
    s->left = s->multiply;
  }
  s->age = -(int32_t)moment;
}

void clock_follower_tick(clock_follower_state *s, const kernel_env *env, const float *const in[], float *const out[],
                         kernel_events *const sent[]) {
  (void)in;
  clock_follower_send(s, sent[0], env->block_size, (float)env->block_size);
  s->next -= (float)env->block_size;
  if (s->age < clock_follower_oldest)
    s->age += (int32_t)env->block_size;
  *out[0] = s->period;
}

UNHEARD_STIMULUS(clock_follower)
