// Hat: up to six squares from -1 to 1 whose pitches stand in no simple ratio, through a highpass of two poles, with a
// level that falls exponentially from a trigger on (any text on drum synthesis): y[n] = 0.9/N level[n] highpass(sum of
// squares), where the 0.9 is house judgement, some room for what the highpass swings over.
#include "drum.h"
#include "unheard.h"

enum { hat_most = 6 };

// Square roots of 1 and of the first primes, of which no two are in the ratio of whole numbers: house judgement.
static const float hat_ratios[hat_most] = {1, 1.41421356f, 1.73205081f, 2.23606798f, 2.64575131f, 3.31662479f};

typedef struct {
  float pitch; // hertz, of the lowest
  uint32_t squares;
  float cutoff; // hertz
  float decay;  // seconds
} hat_params;

typedef struct {
  uint32_t phase;     // a turn is 2^32
  uint32_t increment; // a sample
} hat_square;

typedef struct {
  uint32_t squares;
  float scale; // of a square
  float level, fall;
  drum_filter filter;
  hat_square square[];
} hat_state;

uint32_t hat_state_bytes(const kernel_env *env, const hat_params *p) {
  (void)env;
  return sizeof(hat_state) + p->squares * sizeof(hat_square);
}

void hat_update_pitch(hat_state *s, const kernel_env *env, const hat_params *p) {
  const real step = phase_per_hertz(env) * p->pitch;
  for (uint32_t k = 0; k < s->squares; k++)
    s->square[k].increment = phase_increment(step, hat_ratios[k]);
}

void hat_update_filter(hat_state *s, const kernel_env *env, const hat_params *p) {
  drum_filter_set(&s->filter, env, p->cutoff, (real)0.70710678, 1);
  s->filter.gain = (float)((real)s->scale * s->filter.gain);
}

void hat_update_decay(hat_state *s, const kernel_env *env, const hat_params *p) {
  s->fall = drum_factor(env, p->decay);
}

void hat_start(hat_state *s, const kernel_env *env, const hat_params *p, void *const buffers[]) {
  (void)buffers;
  s->squares = p->squares;
  s->scale = (float)((real)0.9 / (real)p->squares);
  s->level = 0;
  s->filter.near = 0;
  s->filter.far = 0;
  for (uint32_t k = 0; k < s->squares; k++)
    s->square[k].phase = 0;
  hat_update_pitch(s, env, p);
  hat_update_filter(s, env, p);
  hat_update_decay(s, env, p);
}

// The squares run on, so that no two strokes are alike.
void hat_event_trigger(hat_state *s, const kernel_env *env, const kernel_event *event, const float *const in[]) {
  (void)env, (void)in;
  if (event->value)
    s->level = 1;
}

KERNEL_INLINE void hat_run(hat_state *s, const kernel_env *env, const float *const in[], float *const out[],
                           uint32_t n) {
  (void)env, (void)in;
  float *y = out[0];
  const uint32_t squares = s->squares;
  const real fall = s->fall;
  float level = s->level;
  drum_filter filter = s->filter;
  for (uint32_t i = 0; i < n; i++) {
    // The highpass takes away what stands still, so that the sum need not lie around 0. Odd, it is never nought, which
    // software floats are done with sooner than with any other number.
    uint32_t high = 0;
    for (uint32_t k = 0; k < squares; k++) {
      hat_square *square = &s->square[k];
      high += square->phase >> 31;
      square->phase += square->increment;
    }
    y[i] = (float)(level * drum_highpass(&filter, (real)(2 * high + 1)));
    level = drum_fall(level, fall);
  }
  s->filter.near = filter.near;
  s->filter.far = filter.far;
  s->level = level;
}
KERNEL_BLOCK(hat)

UNHEARD_STIMULUS(hat)
