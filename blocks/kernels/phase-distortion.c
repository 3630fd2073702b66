// Phase distortion: a cosine, upside down, that is read faster before its top than behind it. With x the phase in turns
// and d the knee the reading runs at x / (2 d) up to the knee and at 1/2 + (x - d) / (2 (1 - d)) behind it (V. Lazzarini
// and J. Timoney, New Perspectives on Distortion Synthesis for Virtual Analog Oscillators, Computer Music Journal 34(1),
// 2010, from memory). The cosine is even about its top, so that both lines lead to
// y = sin(pi / 2 w), w = min(2 x / d - 1, (1 + d - 2 x) / (1 - d)).
#include "phase.h"
#include "turn.h"

typedef struct {
  float pitch; // hertz
  float knee;  // turns
} phase_distortion_params;

typedef struct {
  uint32_t phase, increment;
  float rise, top, fall; // 2 / d, (1 + d) / (1 - d), 2 / (1 - d)
} phase_distortion_state;

uint32_t phase_distortion_state_bytes(const kernel_env *env, const phase_distortion_params *p) {
  (void)env, (void)p;
  return sizeof(phase_distortion_state);
}

void phase_distortion_update_increment(phase_distortion_state *s, const kernel_env *env,
                                       const phase_distortion_params *p) {
  s->increment = phase_increment(phase_per_hertz(env), p->pitch);
}

void phase_distortion_update_knee(phase_distortion_state *s, const kernel_env *env, const phase_distortion_params *p) {
  (void)env;
  const real knee = p->knee, rest = 1 / (1 - knee);
  s->rise = (float)(2 / knee);
  s->top = (float)((1 + knee) * rest);
  s->fall = (float)(2 * rest);
}

void phase_distortion_start(phase_distortion_state *s, const kernel_env *env, const phase_distortion_params *p,
                            void *const buffers[]) {
  (void)buffers;
  s->phase = 0;
  phase_distortion_update_increment(s, env, p);
  phase_distortion_update_knee(s, env, p);
}

void phase_distortion_event_sync(phase_distortion_state *s, const kernel_env *env, const kernel_event *event,
                                 const float *const in[]) {
  (void)env, (void)in;
  if (event->value)
    s->phase = 0;
}

KERNEL_INLINE void phase_distortion_run(phase_distortion_state *s, const kernel_env *env, const float *const in[],
                                        float *const out[], uint32_t n) {
  float *y = out[0];
  uint32_t phase = s->phase;
  const real rise = s->rise, top = s->top, fall = s->fall;
#ifdef MOVED_PITCH_AUDIO
  const float *pitch = in[0];
  const real per_hertz = phase_per_hertz(env);
#else
  (void)env, (void)in;
  const uint32_t increment = s->increment;
#endif
  for (uint32_t i = 0; i < n; i++) {
    const real x = (real)phase * (real)(1.0 / 4294967296.0);
    const real up = rise * x - 1, down = top - fall * x;
    y[i] = (float)turn_quarter(up < down ? up : down);
#ifdef MOVED_PITCH_AUDIO
    phase += phase_increment(per_hertz, pitch[i]);
#else
    phase += increment;
#endif
  }
  s->phase = phase;
}
KERNEL_BLOCK(phase_distortion)

#ifdef KERNEL_STIMULI
// A moved pitch. No value of it costs more than another.
void phase_distortion_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  (void)channel, (void)block;
  kernel_ramp(x, n, costliest ? 10000.0f : 5000.0f, costliest ? 11000.0f : 7000.0f);
}
#endif
