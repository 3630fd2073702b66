// Low-frequency oscillator: p[n] = frac(p[n-1] + frequency / rate), once a control period; y is 0.5 + 0.5 s(q) with
// q = p - 0.5 and s a parabola with a correction (a public archive), abs(2 p - 1), p, p < 0.5, or a random level held for
// a turn, s = 1664525 s + 1013904223 in 32 bits (D. Knuth, The Art of Computer Programming 2).
#include "kernel.h"

#if !defined(SHAPE_SINE) && !defined(SHAPE_TRIANGLE) && !defined(SHAPE_SAW) && !defined(SHAPE_SQUARE) &&                 \
    !defined(SHAPE_RANDOM)
#error "lfo: define SHAPE_SINE, SHAPE_TRIANGLE, SHAPE_SAW, SHAPE_SQUARE or SHAPE_RANDOM"
#endif

typedef struct {
  float frequency; // hertz
} lfo_params;

typedef struct {
  float phase, step; // in turns
#ifdef SHAPE_RANDOM
  uint32_t seed;
  float level;
#endif
} lfo_state;

uint32_t lfo_state_bytes(const kernel_env *env, const lfo_params *p) {
  (void)env, (void)p;
  return sizeof(lfo_state);
}

void lfo_update_step(lfo_state *s, const kernel_env *env, const lfo_params *p) {
  s->step = (float)((real)p->frequency / env->control_rate);
}

#ifdef SHAPE_RANDOM
KERNEL_INLINE void lfo_draw(lfo_state *s) {
  s->seed = 1664525u * s->seed + 1013904223u;
  s->level = (float)((real)(s->seed >> 8) * (real)(1.0 / 16777216.0));
}
#endif

void lfo_start(lfo_state *s, const kernel_env *env, const lfo_params *p, void *const buffers[]) {
  (void)buffers;
  s->phase = 0;
  lfo_update_step(s, env, p);
#ifdef SHAPE_RANDOM
  s->seed = 0;
  lfo_draw(s);
#endif
}

void lfo_event_reset(lfo_state *s, const kernel_env *env, const kernel_event *event, const float *const in[]) {
  (void)env, (void)in;
  if (event->value)
    s->phase = 0;
}

void lfo_tick(lfo_state *s, const kernel_env *env, const float *const in[], float *const out[]) {
  (void)env, (void)in;
  real phase = s->phase;
#if defined(SHAPE_SINE)
  const real half = phase - 0.5f;
  const real parabola = 8 * half * (1 - 2 * kernel_abs(half));
  const real sine = parabola + 0.225f * (parabola * kernel_abs(parabola) - parabola);
  *out[0] = (float)(0.5f + 0.5f * sine);
#elif defined(SHAPE_TRIANGLE)
  *out[0] = (float)kernel_abs(2 * phase - 1);
#elif defined(SHAPE_SAW)
  *out[0] = (float)phase;
#elif defined(SHAPE_SQUARE)
  *out[0] = phase < 0.5f ? 1 : 0;
#else
  *out[0] = s->level;
#endif
  phase += s->step;
  if (phase >= 1) {
    phase -= (real)(uint32_t)phase; // a step may be longer than a turn where control periods are long
#ifdef SHAPE_RANDOM
    lfo_draw(s);
#endif
  }
  s->phase = (float)phase;
}

#ifdef KERNEL_STIMULI
// An oscillator has no input but its reset.
void lfo_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  (void)costliest, (void)channel, (void)block;
  for (uint32_t i = 0; i < n; i++)
    x[i] = 0;
}
#endif
