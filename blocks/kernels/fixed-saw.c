// Band-limited sawtooth in fixed point: y[n] = 2 phase - 1 - c, c a parabola on the sample before and the sample after
// each wrap (V. Valimaki and A. Huovilainen, Antialiasing Oscillators in Subtractive Synthesis, IEEE Signal Processing
// Magazine 24(2), 2007). With a turn of 2^32 the ramp is the phase itself; only the parabola is worked out in sixteen bits.
#define WORD_Q15
#include "fixed.h"
#include "fixed-phase.h"

typedef struct {
  float pitch; // hertz
} fixed_saw_params;

typedef struct {
  uint32_t phase;     // a turn is 2^32
  uint32_t increment; // a sample
  float per_hertz;    // of the increment
} fixed_saw_state;

uint32_t fixed_saw_state_bytes(const kernel_env *env, const fixed_saw_params *p) {
  (void)env, (void)p;
  return sizeof(fixed_saw_state);
}

void fixed_saw_update_increment(fixed_saw_state *s, const kernel_env *env, const fixed_saw_params *p) {
  (void)env;
  s->increment = fixed_phase_increment(s->per_hertz, p->pitch);
}

void fixed_saw_start(fixed_saw_state *s, const kernel_env *env, const fixed_saw_params *p, void *const buffers[]) {
  (void)buffers;
  s->phase = 0;
  s->per_hertz = fixed_phase_per_hertz(env);
  fixed_saw_update_increment(s, env, p);
}

void fixed_saw_event_sync(fixed_saw_state *s, const kernel_env *env, const kernel_event *event,
                          const float *const in[]) {
  (void)env, (void)in;
  if (event->value)
    s->phase = 0;
}

// The parabola so far from the wrap, (1 - distance / increment)^2 in fractions of 2^31. Both are brought to sixteen bits
// of the increment's, so that they divide in thirty-two.
KERNEL_INLINE uint32_t fixed_saw_parabola(uint32_t distance, uint32_t increment) {
  const uint32_t zeros = (uint32_t)__builtin_clz(increment);
  const uint32_t rest = 65536 - ((distance << zeros >> 16) << 16) / (increment << zeros >> 16);
  return rest * (rest >> 1);
}

KERNEL_INLINE void fixed_saw_run(fixed_saw_state *s, const kernel_env *env, const float *const in[], float *const out[],
                                 uint32_t n) {
  (void)env;
  float *y = out[0];
  uint32_t phase = s->phase;
#ifdef MOVED_PITCH_AUDIO
  const float *pitch = in[0];
  const float per_hertz = s->per_hertz;
#else
  (void)in;
  const uint32_t increment = s->increment;
#endif
  for (uint32_t i = 0; i < n; i++) {
#ifdef MOVED_PITCH_AUDIO
    const uint32_t increment = fixed_phase_increment(per_hertz, pitch[i]);
#endif
    // A ramp from -1 at the wrap to 1 just before it; with its parabola it stays between.
    uint32_t ramp = phase ^ 0x80000000u;
    if (phase < increment)
      ramp += fixed_saw_parabola(phase, increment);
    else if (-phase < increment)
      ramp -= fixed_saw_parabola(-phase, increment);
    y[i] = fixed_to_float((int32_t)ramp);
    phase += increment;
  }
  s->phase = phase;
}
KERNEL_BLOCK(fixed_saw)

#ifdef KERNEL_STIMULI
// A moved pitch; the costliest wraps oftenest, so that most samples are rounded.
void fixed_saw_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  (void)channel, (void)block;
  kernel_ramp(x, n, costliest ? 19000.0f : 200.0f, costliest ? 20000.0f : 2000.0f);
}
#endif
