// Band-limited pulse: y[n] = pulse(phase, width) + c1 - c2, c1 and c2 parabolas on the samples before and after the
// rising and the falling edge (V. Valimaki and A. Huovilainen, Antialiasing Oscillators in Subtractive Synthesis, IEEE
// Signal Processing Magazine 24(2), 2007).
#include "kernel.h"

typedef struct {
  float pitch; // hertz
  float width; // share of the period spent high
} bandlimited_pulse_params;

typedef struct {
  float phase;     // turns, 0 to 1
  float increment; // turns a sample
  float width;
} bandlimited_pulse_state;

uint32_t bandlimited_pulse_state_bytes(const kernel_env *env, const bandlimited_pulse_params *p) {
  (void)env, (void)p;
  return sizeof(bandlimited_pulse_state);
}

void bandlimited_pulse_update_increment(bandlimited_pulse_state *s, const kernel_env *env,
                                        const bandlimited_pulse_params *p) {
  s->increment = (float)(1 / (real)env->sample_rate * p->pitch);
}

void bandlimited_pulse_update_width(bandlimited_pulse_state *s, const kernel_env *env,
                                    const bandlimited_pulse_params *p) {
  (void)env;
  s->width = p->width;
}

void bandlimited_pulse_start(bandlimited_pulse_state *s, const kernel_env *env, const bandlimited_pulse_params *p,
                             void *const buffers[]) {
  (void)buffers;
  s->phase = 0;
  bandlimited_pulse_update_increment(s, env, p);
  bandlimited_pulse_update_width(s, env, p);
}

void bandlimited_pulse_event_sync(bandlimited_pulse_state *s, const kernel_env *env, const kernel_event *event,
                                  const float *const in[]) {
  (void)env, (void)in;
  if (event->value)
    s->phase = 0;
}

// What a step of 2 upwards at phase 0 needs to be added: the difference between a rounded and a sharp step.
KERNEL_INLINE real bandlimited_pulse_rounding(real phase, real increment) {
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

KERNEL_INLINE void bandlimited_pulse_run(bandlimited_pulse_state *s, const kernel_env *env, const float *const in[],
                                         float *const out[], uint32_t n) {
  float *y = out[0];
  real phase = s->phase;
#ifdef MOVED_PITCH_AUDIO
  const float *pitch = in[0];
  const real period = 1 / (real)env->sample_rate;
#else
  (void)env;
  const real increment = s->increment;
#endif
#ifdef MOVED_WIDTH_AUDIO
  const float *widths = in[0];
#else
  (void)in;
  const real width = s->width;
#endif
  for (uint32_t i = 0; i < n; i++) {
#ifdef MOVED_PITCH_AUDIO
    const real increment = period * pitch[i];
#endif
#ifdef MOVED_WIDTH_AUDIO
    const real width = widths[i];
#endif
    real pulse = 1;
    real since_fall = phase - width;
    if (since_fall < 0)
      since_fall += 1;
    else
      pulse = -1;
    y[i] = (float)(pulse + bandlimited_pulse_rounding(phase, increment) -
                   bandlimited_pulse_rounding(since_fall, increment));
    phase += increment;
    if (phase >= 1)
      phase -= 1;
  }
  s->phase = (float)phase;
}
KERNEL_BLOCK(bandlimited_pulse)

#ifdef KERNEL_STIMULI
// A moved pitch or width; the costliest pitch has most edges, and so has a width that jumps across the phase.
void bandlimited_pulse_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
#ifdef MOVED_WIDTH_AUDIO
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = 0.5f + (costliest ? 0.49f : 0.1f) * kernel_noise(&seed);
#else
  (void)channel, (void)block;
  kernel_ramp(x, n, costliest ? 19000.0f : 200.0f, costliest ? 20000.0f : 2000.0f);
#endif
}
#endif
