// Sine by rotation, in the modified coupled form, whose circle closes however its factor is rounded: c[n] = c[n-1] - e s[n-1],
// s[n] = s[n-1] + e c[n], e = 2 sin(pi pitch / sample rate), so that s = sin(a) and c = cos(a - pi pitch / sample rate) (J.
// Gordon and J.O. Smith, A Sine Generation Algorithm for VLSI Applications, ICMC 1985, from memory). A new pitch keeps a and
// brings the pair back to the unit circle, r (3 - r^2) / 2 for a radius r beside 1.
#include "kernel.h"
#include "unheard.h"

typedef struct {
  float pitch; // hertz
} coupled_sine_params;

typedef struct {
  float sine, cosine; // the cosine half a step behind
  float factor;       // e
  float along;        // cosine of half a step
} coupled_sine_state;

uint32_t coupled_sine_state_bytes(const kernel_env *env, const coupled_sine_params *p) {
  (void)env, (void)p;
  return sizeof(coupled_sine_state);
}

void coupled_sine_update_pitch(coupled_sine_state *s, const kernel_env *env, const coupled_sine_params *p) {
  const real half = kernel_pi / env->sample_rate * p->pitch;
  const real aside = kernel_sin(half), along = kernel_cos(half);
  const real sine = s->sine, cosine = (s->cosine - (real)0.5 * s->factor * sine) / s->along;
  const real radius = (real)1.5 - (real)0.5 * (sine * sine + cosine * cosine);
  s->sine = (float)(radius * sine);
  s->cosine = (float)(radius * (cosine * along + sine * aside));
  s->factor = (float)(2 * aside);
  s->along = (float)along;
}

void coupled_sine_start(coupled_sine_state *s, const kernel_env *env, const coupled_sine_params *p, void *const buffers[]) {
  (void)buffers;
  *s = (coupled_sine_state){.cosine = 1, .along = 1};
  coupled_sine_update_pitch(s, env, p);
}

void coupled_sine_event_sync(coupled_sine_state *s, const kernel_env *env, const kernel_event *event,
                             const float *const in[]) {
  (void)env, (void)in;
  if (event->value) {
    s->sine = 0;
    s->cosine = s->along;
  }
}

KERNEL_INLINE void coupled_sine_run(coupled_sine_state *s, const kernel_env *env, const float *const in[],
                                    float *const out[], uint32_t n) {
  (void)env, (void)in;
  float *y = out[0];
  const real factor = s->factor;
  float sine = s->sine, cosine = s->cosine;
  for (uint32_t i = 0; i < n; i++) {
    y[i] = sine;
    cosine = (float)(cosine - factor * sine);
    sine = (float)(sine + factor * cosine);
  }
  s->sine = sine;
  s->cosine = cosine;
}
KERNEL_BLOCK(coupled_sine)

UNHEARD_STIMULUS(coupled_sine)
