// Integrated clip: a clip that is averaged over the straight line from one sample to the next, v = d x[n],
//   y[n] = (F(v[n]) - F(v[n-1])) / (v[n] - v[n-1]), F the antiderivative of the curve f, and f at the middle where the two
// lie close together (J. Parker, V. Zavalishin and E. Le Bivic, Reducing the aliasing of nonlinear waveshaping using
// continuous-time convolution, DAFx 2016). With h = v held within the curve's corners, +-1 of a hard clip and +-3/2 of v -
// (4/27) v^3: hard F = h (v - h / 2), cubic F = h^2 / 2 - h^4 / 27 + (2/3) h (v - h).
#include "kernel.h"

#if !defined(CURVE_HARD) && !defined(CURVE_CUBIC)
#error "integrated-clip: define CURVE_HARD or CURVE_CUBIC"
#endif

typedef struct {
  float drive;
} integrated_clip_params;

typedef struct {
  float driven, area; // v[n-1] and F there
} integrated_clip_last;

typedef struct {
  float drive;
  integrated_clip_last last[];
} integrated_clip_state;

uint32_t integrated_clip_state_bytes(const kernel_env *env, const integrated_clip_params *p) {
  (void)p;
  return sizeof(integrated_clip_state) + env->channels * sizeof(integrated_clip_last);
}

void integrated_clip_start(integrated_clip_state *s, const kernel_env *env, const integrated_clip_params *p,
                           void *const buffers[]) {
  (void)buffers;
  s->drive = p->drive;
  for (uint32_t c = 0; c < env->channels; c++)
    s->last[c] = (integrated_clip_last){0, 0};
}

KERNEL_INLINE real integrated_clip_held(real v) {
#ifdef CURVE_HARD
  const real corner = 1;
#else
  const real corner = (real)1.5;
#endif
  return v < -corner ? -corner : v > corner ? corner : v;
}

KERNEL_INLINE real integrated_clip_curve(real v) {
  const real h = integrated_clip_held(v);
#ifdef CURVE_HARD
  return h;
#else
  return h - (real)(4.0 / 27.0) * h * h * h;
#endif
}

KERNEL_INLINE real integrated_clip_area(real v) {
  const real h = integrated_clip_held(v);
#ifdef CURVE_HARD
  return h * (v - (real)0.5 * h);
#else
  const real square = h * h;
  return square * ((real)0.5 - (real)(1.0 / 27.0) * square) + (real)(2.0 / 3.0) * h * (v - h);
#endif
}

// A step of less than a thousandth, the more the greater the area, is lost in the rounding of the areas.
static const real integrated_clip_least = (real)0.001;

KERNEL_INLINE float integrated_clip_next(integrated_clip_last *last, real v) {
  const real area = integrated_clip_area(v), before = last->driven, step = v - before;
  const real mean = kernel_abs(step) > integrated_clip_least + integrated_clip_least * area
                        ? (area - last->area) / step
                        : integrated_clip_curve((real)0.5 * (v + before));
  *last = (integrated_clip_last){(float)v, (float)area};
  return (float)mean;
}

KERNEL_INLINE void integrated_clip_run(integrated_clip_state *s, const kernel_env *env, const float *const in[],
                                       float *const out[], uint32_t n) {
  const uint32_t channels = env->channels;
#ifdef MOVED_DRIVE_AUDIO
  const float *drive = in[channels];
#else
  const real drive = s->drive;
#endif
  for (uint32_t c = 0; c < channels; c++) {
    const float *x = in[c];
    float *y = out[c];
    integrated_clip_last last = s->last[c];
    for (uint32_t i = 0; i < n; i++) {
#ifdef MOVED_DRIVE_AUDIO
      y[i] = integrated_clip_next(&last, (real)drive[i] * x[i]);
#else
      y[i] = integrated_clip_next(&last, drive * x[i]);
#endif
    }
    s->last[c] = last;
  }
}
KERNEL_BLOCK(integrated_clip)

#ifdef KERNEL_STIMULI
// From side to side, so that every step is divided: of four samples two lie beyond the corners at every drive. The
// costliest are all within the corners and so close together that the curve is read at the middle.
void integrated_clip_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  if (channel == KERNEL_MOVED) {
    kernel_ramp(x, n, costliest ? 0.1f : 1.0f, costliest ? 0.2f : 2.0f);
    return;
  }
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++) {
    const float noise = kernel_noise(&seed);
    x[i] = costliest ? 1e-6f * noise : (i & 1 ? 1.0f : -1.0f) * (3 + 0.3f * noise) * (i & 2 ? 1.0f : 0.002f);
  }
}
#endif
