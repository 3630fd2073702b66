// Kick drum: a sine whose level and whose height above its pitch fall exponentially from a trigger on (any text on drum
// synthesis): phase += pitch (1 + bend b[n]) / rate, y[n] = level[n] sin(2 pi phase).
#include "drum.h"
#include "unheard.h"

#if !defined(SINE_POLYNOMIAL) && !defined(SINE_PARABOLA)
#error "kick-drum: define SINE_POLYNOMIAL or SINE_PARABOLA"
#endif

typedef struct {
  float pitch; // hertz
  float bend;  // share of the pitch
  float glide; // seconds
  float decay; // seconds
} kick_drum_params;

typedef struct {
  uint32_t phase; // a turn is 2^32
  float step;     // of the phase at the pitch, a sample
  float rise;     // of the step at the trigger
  float level, height;
  float fall, glide; // factors of the two
} kick_drum_state;

uint32_t kick_drum_state_bytes(const kernel_env *env, const kick_drum_params *p) {
  (void)env, (void)p;
  return sizeof(kick_drum_state);
}

void kick_drum_update_pitch(kick_drum_state *s, const kernel_env *env, const kick_drum_params *p) {
  s->step = (float)(phase_per_hertz(env) * p->pitch);
  s->rise = (float)((real)s->step * p->bend);
}

void kick_drum_update_glide(kick_drum_state *s, const kernel_env *env, const kick_drum_params *p) {
  s->glide = drum_factor(env, p->glide);
}

void kick_drum_update_decay(kick_drum_state *s, const kernel_env *env, const kick_drum_params *p) {
  s->fall = drum_factor(env, p->decay);
}

void kick_drum_start(kick_drum_state *s, const kernel_env *env, const kick_drum_params *p, void *const buffers[]) {
  (void)buffers;
  s->phase = 0;
  s->level = 0;
  s->height = 0;
  kick_drum_update_pitch(s, env, p);
  kick_drum_update_glide(s, env, p);
  kick_drum_update_decay(s, env, p);
}

void kick_drum_event_trigger(kick_drum_state *s, const kernel_env *env, const kernel_event *event,
                             const float *const in[]) {
  (void)env, (void)in;
  if (event->value) {
    s->phase = 0;
    s->level = 1;
    s->height = 1;
  }
}

KERNEL_INLINE void kick_drum_run(kick_drum_state *s, const kernel_env *env, const float *const in[], float *const out[],
                                 uint32_t n) {
  (void)env, (void)in;
  float *y = out[0];
  const real step = s->step, rise = s->rise, fall = s->fall, glide = s->glide;
  uint32_t phase = s->phase;
  float level = s->level, height = s->height;
  for (uint32_t i = 0; i < n; i++) {
#ifdef SINE_PARABOLA
    y[i] = (float)(level * drum_parabola(phase));
#else
    y[i] = (float)(level * drum_sine(phase));
#endif
    phase += (uint32_t)(step + rise * height);
    height = drum_fall(height, glide);
    level = drum_fall(level, fall);
  }
  s->phase = phase;
  s->level = level;
  s->height = height;
}
KERNEL_BLOCK(kick_drum)

UNHEARD_STIMULUS(kick_drum)
