// Stereo width w by middle and side (any text on stereo): m = g (l + r), s = g w (l - r), l' = m + s, r' = m - s. Plain
// g = 1 / 2; even g = 1 / sqrt(2 (1 + w^2)), by which unlike channels keep their power.
#include "kernel.h"

#if !defined(LAW_EVEN) && !defined(LAW_PLAIN)
#error "stereo-width: define LAW_EVEN or LAW_PLAIN"
#endif

typedef struct {
  float width; // 0 mono, 1 as it came, more is wider
} stereo_width_params;

typedef struct {
  float middle, side; // gains
} stereo_width_state;

uint32_t stereo_width_state_bytes(const kernel_env *env, const stereo_width_params *p) {
  (void)env, (void)p;
  return sizeof(stereo_width_state);
}

void stereo_width_update_gains(stereo_width_state *s, const kernel_env *env, const stereo_width_params *p) {
  (void)env;
  const real width = p->width;
#ifdef LAW_EVEN
  const real middle = 1 / kernel_sqrt(2 + 2 * width * width);
#else
  const real middle = (real)0.5;
#endif
  s->middle = (float)middle;
  s->side = (float)(middle * width);
}

void stereo_width_start(stereo_width_state *s, const kernel_env *env, const stereo_width_params *p,
                        void *const buffers[]) {
  (void)buffers;
  stereo_width_update_gains(s, env, p);
}

KERNEL_INLINE void stereo_width_run(stereo_width_state *s, const kernel_env *env, const float *const in[],
                                    float *const out[], uint32_t n) {
  (void)env;
  const real middle = s->middle, side = s->side;
  for (uint32_t i = 0; i < n; i++) {
    const real left = in[0][i], right = in[1][i];
    const real m = middle * (left + right), d = side * (left - right);
    out[0][i] = (float)(m + d);
    out[1][i] = (float)(m - d);
  }
}
KERNEL_BLOCK(stereo_width)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal.
void stereo_width_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-39f : 1.0f);
}
#endif
