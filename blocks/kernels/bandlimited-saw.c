// Band-limited sawtooth: y[n] = 2 phase - 1 - c, c a parabola on the sample before and the sample after each wrap
// (V. Valimaki and A. Huovilainen, Antialiasing Oscillators in Subtractive Synthesis, IEEE Signal Processing Magazine
// 24(2), 2007).
#include "kernel.h"

typedef struct {
  float pitch; // hertz
} bandlimited_saw_params;

typedef struct {
  float phase;     // turns, 0 to 1
  float increment; // turns a sample
} bandlimited_saw_state;

uint32_t bandlimited_saw_state_bytes(const kernel_env *env, const bandlimited_saw_params *p) {
  (void)env, (void)p;
  return sizeof(bandlimited_saw_state);
}

void bandlimited_saw_update_increment(bandlimited_saw_state *s, const kernel_env *env,
                                      const bandlimited_saw_params *p) {
  s->increment = (float)(1 / (real)env->sample_rate * p->pitch);
}

void bandlimited_saw_start(bandlimited_saw_state *s, const kernel_env *env, const bandlimited_saw_params *p,
                           void *const buffers[]) {
  (void)buffers;
  s->phase = 0;
  bandlimited_saw_update_increment(s, env, p);
}

void bandlimited_saw_event_sync(bandlimited_saw_state *s, const kernel_env *env, const kernel_event *event,
                                const float *const in[]) {
  (void)env, (void)in;
  if (event->value)
    s->phase = 0;
}

// What a step of 2 upwards at phase 0 needs to be added: the difference between a rounded and a sharp step.
KERNEL_INLINE real bandlimited_saw_rounding(real phase, real increment) {
  if (phase < increment) {
    const real after = phase / increment;
    return after + after - after * after - 1;
  }
  if (phase > 1 - increment) {
    const real before = (phase - 1) / increment;
    return before * before + before + before + 1;
  }
  return 0;
}

KERNEL_INLINE void bandlimited_saw_run(bandlimited_saw_state *s, const kernel_env *env, const float *const in[],
                                       float *const out[], uint32_t n) {
  float *y = out[0];
  real phase = s->phase;
#ifdef MOVED_PITCH_AUDIO
  const float *pitch = in[0];
  const real period = 1 / (real)env->sample_rate;
#else
  (void)env, (void)in;
  const real increment = s->increment;
#endif
  for (uint32_t i = 0; i < n; i++) {
#ifdef MOVED_PITCH_AUDIO
    const real increment = period * pitch[i];
#endif
    y[i] = (float)(2 * phase - 1 - bandlimited_saw_rounding(phase, increment));
    phase += increment;
    if (phase >= 1)
      phase -= 1;
  }
  s->phase = (float)phase;
}
KERNEL_BLOCK(bandlimited_saw)

#ifdef KERNEL_STIMULI
// A moved pitch; the costliest wraps oftenest, so that most samples are rounded.
void bandlimited_saw_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  (void)channel, (void)block;
  kernel_ramp(x, n, costliest ? 19000.0f : 200.0f, costliest ? 20000.0f : 2000.0f);
}
#endif
