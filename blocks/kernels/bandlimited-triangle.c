// Band-limited triangle: y[n] = 1 - 4 |phase - 1/2| + c1 - c2, c1 and c2 cubes on the samples before and after the
// lower and the upper corner, by which a corner rounded over two samples differs from a sharp one (F. Esqueda,
// V. Valimaki and S. Bilbao, Rounding Corners with BLAMP, International Conference on Digital Audio Effects, 2016).
#include "kernel.h"

typedef struct {
  float pitch; // hertz
} bandlimited_triangle_params;

typedef struct {
  float phase;     // turns, 0 to 1
  float increment; // turns a sample
} bandlimited_triangle_state;

uint32_t bandlimited_triangle_state_bytes(const kernel_env *env, const bandlimited_triangle_params *p) {
  (void)env, (void)p;
  return sizeof(bandlimited_triangle_state);
}

void bandlimited_triangle_update_increment(bandlimited_triangle_state *s, const kernel_env *env,
                                           const bandlimited_triangle_params *p) {
  s->increment = (float)(1 / (real)env->sample_rate * p->pitch);
}

void bandlimited_triangle_start(bandlimited_triangle_state *s, const kernel_env *env,
                                const bandlimited_triangle_params *p, void *const buffers[]) {
  (void)buffers;
  s->phase = 0;
  bandlimited_triangle_update_increment(s, env, p);
}

void bandlimited_triangle_event_sync(bandlimited_triangle_state *s, const kernel_env *env, const kernel_event *event,
                                     const float *const in[]) {
  (void)env, (void)in;
  if (event->value)
    s->phase = 0;
}

// What a sharp corner at a distance from the phase needs to be added where it points down. The slope turns by 8
// increments a sample, and to a corner of 1 the rounding adds (1 - d)^3 / 6 at the distance of d samples.
KERNEL_INLINE real bandlimited_triangle_rounding(real distance, real increment) {
  if (distance >= increment)
    return 0;
  const real near = 1 - distance / increment;
  return (real)(8.0 / 6.0) * increment * near * near * near;
}

KERNEL_INLINE void bandlimited_triangle_run(bandlimited_triangle_state *s, const kernel_env *env,
                                            const float *const in[], float *const out[], uint32_t n) {
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
    const real from_top = kernel_abs(phase - (real)0.5);
    y[i] = (float)(1 - 4 * from_top + bandlimited_triangle_rounding((real)0.5 - from_top, increment) -
                   bandlimited_triangle_rounding(from_top, increment));
    phase += increment;
    if (phase >= 1)
      phase -= 1;
  }
  s->phase = (float)phase;
}
KERNEL_BLOCK(bandlimited_triangle)

#ifdef KERNEL_STIMULI
// A moved pitch; the costliest has most corners.
void bandlimited_triangle_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  (void)channel, (void)block;
  kernel_ramp(x, n, costliest ? 19000.0f : 200.0f, costliest ? 20000.0f : 2000.0f);
}
#endif
