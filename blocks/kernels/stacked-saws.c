// Stacked saws: n sawteeth whose pitches lie evenly between pitch (1 - detune) and pitch (1 + detune), added and scaled
// by 0.9 / n; the 0.9 is house judgement, room for what a converter's filter swings over. Each is a plain ramp x, or
// the difference of its squares over four times its step in turns, (x[k]^2 - x[k-1]^2) / (4 d) (V. Valimaki,
// Discrete-Time Synthesis of the Sawtooth Waveform with Reduced Aliasing, IEEE Signal Processing Letters 12(3), 2005).
#include "phase.h"

#if !defined(METHOD_PLAIN) && !defined(METHOD_PARABOLA)
#error "stacked-saws: define METHOD_PLAIN or METHOD_PARABOLA"
#endif

typedef struct {
  float pitch; // hertz
  uint32_t saws;
  float detune; // share of the pitch
} stacked_saws_params;

typedef struct {
  uint32_t phase;     // a turn is 2^32
  uint32_t increment; // a sample
  float ratio;        // of its pitch to that of the middle
#ifdef METHOD_PARABOLA
  float level; // of a difference of squares
#endif
} stacked_saws_saw;

typedef struct {
  uint32_t saws;
  float level;  // of a ramp
  float spread; // of the pitches from saw to saw, in detunes
  stacked_saws_saw saw[];
} stacked_saws_state;

uint32_t stacked_saws_state_bytes(const kernel_env *env, const stacked_saws_params *p) {
  (void)env;
  return sizeof(stacked_saws_state) + p->saws * sizeof(stacked_saws_saw);
}

#ifdef METHOD_PARABOLA
// A quarter of a turn over the step, and so much less for each of several saws.
KERNEL_INLINE float stacked_saws_level(real level, uint32_t increment) {
  return (float)(level * (real)1073741824.0 / (real)increment);
}

// Of the ramp. The square a sample ago is worked out from the step, not kept, so that a step that has moved does not
// click.
KERNEL_INLINE real stacked_saws_square(uint32_t phase) {
  const real ramp = phase_ramp(phase);
  return ramp * ramp;
}
#endif

void stacked_saws_update_increments(stacked_saws_state *s, const kernel_env *env, const stacked_saws_params *p) {
  const real per_hertz = phase_per_hertz(env);
  const real spacing = (real)s->spread * p->detune;
  real ratio = s->saws > 1 ? 1 - (real)p->detune : 1;
  for (uint32_t k = 0; k < s->saws; k++) {
    stacked_saws_saw *saw = &s->saw[k];
    saw->ratio = (float)ratio;
    saw->increment = phase_increment(per_hertz * p->pitch, saw->ratio);
#ifdef METHOD_PARABOLA
    saw->level = stacked_saws_level(s->level, saw->increment);
#endif
    ratio += spacing;
  }
}

// The saws begin apart by the golden section of a turn, so that never all of them wrap together.
KERNEL_INLINE void stacked_saws_rewind(stacked_saws_state *s) {
  uint32_t phase = 0x80000000u;
  for (uint32_t k = 0; k < s->saws; k++) {
    s->saw[k].phase = phase;
    phase += 0x9e3779b9u;
  }
}

void stacked_saws_start(stacked_saws_state *s, const kernel_env *env, const stacked_saws_params *p,
                        void *const buffers[]) {
  (void)buffers;
  s->saws = p->saws;
  s->level = (float)((real)0.9 / (real)p->saws);
  s->spread = p->saws > 1 ? (float)(2 / (real)(p->saws - 1)) : 0;
  stacked_saws_update_increments(s, env, p);
  stacked_saws_rewind(s);
}

void stacked_saws_event_sync(stacked_saws_state *s, const kernel_env *env, const kernel_event *event,
                             const float *const in[]) {
  (void)env, (void)in;
  if (event->value)
    stacked_saws_rewind(s);
}

// Saw by saw, so that each is in registers over a block.
KERNEL_INLINE void stacked_saws_run(stacked_saws_state *s, const kernel_env *env, const float *const in[],
                                    float *const out[], uint32_t n) {
  float *y = out[0];
#if defined(METHOD_PLAIN) || defined(MOVED_PITCH_AUDIO)
  const real level = s->level;
#endif
#ifdef MOVED_PITCH_AUDIO
  const float *pitch = in[0];
  const real per_hertz = phase_per_hertz(env);
#else
  (void)env, (void)in;
#endif
  for (uint32_t i = 0; i < n; i++)
    y[i] = 0;
  for (uint32_t k = 0; k < s->saws; k++) {
    stacked_saws_saw *saw = &s->saw[k];
    uint32_t phase = saw->phase;
#ifdef MOVED_PITCH_AUDIO
    const real ratio = saw->ratio;
#else
    const uint32_t increment = saw->increment;
#endif
#if defined(METHOD_PARABOLA) && !defined(MOVED_PITCH_AUDIO)
    const real scale = saw->level;
    real before = stacked_saws_square(phase - increment);
#endif
    for (uint32_t i = 0; i < n; i++) {
#ifdef MOVED_PITCH_AUDIO
      const uint32_t increment = phase_increment(per_hertz * pitch[i], ratio);
#endif
#if defined(METHOD_PLAIN)
      y[i] = (float)(y[i] + level * phase_ramp(phase));
#else
#ifdef MOVED_PITCH_AUDIO
      const real scale = stacked_saws_level(level, increment);
      const real before = stacked_saws_square(phase - increment);
#endif
      const real square = stacked_saws_square(phase);
      y[i] = (float)(y[i] + scale * (square - before));
#ifndef MOVED_PITCH_AUDIO
      before = square;
#endif
#endif
      phase += increment;
    }
    saw->phase = phase;
  }
}
KERNEL_BLOCK(stacked_saws)

#ifdef KERNEL_STIMULI
// A moved pitch; none costs more than another, and a high one meets the whole wave within few samples.
void stacked_saws_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  (void)costliest, (void)channel, (void)block;
  kernel_ramp(x, n, 5000.0f, 7000.0f);
}
#endif
