// Plain pulse: phase += pitch / sample rate, less 1 at the wrap; y[n] = 1 if phase < width, else -1 (any text on
// synthesis).
#include "kernel.h"

typedef struct {
  float pitch; // hertz
  float width; // share of the period spent high
} naive_pulse_params;

typedef struct {
  float phase;     // turns, 0 to 1
  float increment; // turns a sample
  float width;
} naive_pulse_state;

uint32_t naive_pulse_state_bytes(const kernel_env *env, const naive_pulse_params *p) {
  (void)env, (void)p;
  return sizeof(naive_pulse_state);
}

void naive_pulse_update_increment(naive_pulse_state *s, const kernel_env *env, const naive_pulse_params *p) {
  s->increment = (float)(1 / (real)env->sample_rate * p->pitch);
}

void naive_pulse_update_width(naive_pulse_state *s, const kernel_env *env, const naive_pulse_params *p) {
  (void)env;
  s->width = p->width;
}

void naive_pulse_start(naive_pulse_state *s, const kernel_env *env, const naive_pulse_params *p,
                       void *const buffers[]) {
  (void)buffers;
  s->phase = 0;
  naive_pulse_update_increment(s, env, p);
  naive_pulse_update_width(s, env, p);
}

void naive_pulse_event_sync(naive_pulse_state *s, const kernel_env *env, const kernel_event *event,
                            const float *const in[]) {
  (void)env, (void)in;
  if (event->value)
    s->phase = 0;
}

KERNEL_INLINE void naive_pulse_run(naive_pulse_state *s, const kernel_env *env, const float *const in[],
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
    y[i] = phase < width ? 1.0f : -1.0f;
    phase += increment;
    if (phase >= 1)
      phase -= 1;
  }
  s->phase = (float)phase;
}
KERNEL_BLOCK(naive_pulse)

#ifdef KERNEL_STIMULI
// A moved pitch or width; the costliest pitch wraps oftenest, and the costliest width changes sides oftenest.
void naive_pulse_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
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
