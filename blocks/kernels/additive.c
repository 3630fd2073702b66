// Additive tone: n partials of one pitch, partial h as loud as h^-tilt of the first, added: y[n] = sum of a_h sin(h x).
// A pointer is turned by pitch / sample rate of a turn at each sample and held to its length, (c, s) times (3 - c^2 -
// s^2) / 2 (Newton's step for an inverse root); the partials follow from it by Chebyshev's recurrence, sin((h + 1) x) =
// 2 cos x sin(h x) - sin((h - 1) x). What would lie above half the sample rate is left out.
#include "kernel.h"
#include "unheard.h"

typedef struct {
  float pitch; // hertz
  uint32_t partials;
  float tilt;
} additive_params;

typedef struct {
  float cosine, sine; // of the pointer
  float along, aside; // the turn of a sample
  uint32_t partials;
  uint32_t sounding; // those below half the sample rate
  float amplitude[];
} additive_state;

uint32_t additive_state_bytes(const kernel_env *env, const additive_params *p) {
  (void)env;
  return sizeof(additive_state) + p->partials * sizeof(float);
}

void additive_update_pitch(additive_state *s, const kernel_env *env, const additive_params *p) {
  const real turns = p->pitch / (real)env->sample_rate;
  s->along = (float)kernel_cos(2 * kernel_pi * turns);
  s->aside = (float)kernel_sin(2 * kernel_pi * turns);
  const real most = (real)0.5 / turns;
  s->sounding = most < (real)s->partials ? (uint32_t)most : s->partials;
}

// The amplitudes add up to 0.9: house judgement, some room at the top.
static void additive_weigh(additive_state *s, const additive_params *p) {
  real sum = 0;
  for (uint32_t h = 0; h < s->partials; h++) {
    s->amplitude[h] = (float)kernel_exp2(-p->tilt * kernel_log2((real)(h + 1)));
    sum += s->amplitude[h];
  }
  const real scale = (real)0.9 / sum;
  for (uint32_t h = 0; h < s->partials; h++)
    s->amplitude[h] = (float)(scale * s->amplitude[h]);
}

void additive_start(additive_state *s, const kernel_env *env, const additive_params *p, void *const buffers[]) {
  (void)buffers;
  s->cosine = 1;
  s->sine = 0;
  s->partials = p->partials;
  additive_update_pitch(s, env, p);
  additive_weigh(s, p);
}

void additive_event_sync(additive_state *s, const kernel_env *env, const kernel_event *event, const float *const in[]) {
  (void)env, (void)in;
  if (event->value) {
    s->cosine = 1;
    s->sine = 0;
  }
}

KERNEL_INLINE void additive_run(additive_state *s, const kernel_env *env, const float *const in[], float *const out[],
                                uint32_t n) {
  (void)env, (void)in;
  float *y = out[0];
  const float *amplitude = s->amplitude;
  const uint32_t sounding = s->sounding;
  const real along = s->along, aside = s->aside;
  float cosine = s->cosine, sine = s->sine;
  for (uint32_t i = 0; i < n; i++) {
    const real twice = 2 * (real)cosine;
    real before = 0, here = sine, sum = 0;
    for (uint32_t h = 0; h < sounding; h++) {
      sum += amplitude[h] * here;
      const real next = twice * here - before;
      before = here;
      here = next;
    }
    y[i] = (float)sum;
    const real c = cosine * along - sine * aside, q = sine * along + cosine * aside;
    const real held = (real)1.5 - (real)0.5 * (c * c + q * q);
    cosine = (float)(held * c);
    sine = (float)(held * q);
  }
  s->cosine = cosine;
  s->sine = sine;
}
KERNEL_BLOCK(additive)

UNHEARD_STIMULUS(additive)
