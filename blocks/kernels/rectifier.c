// Rectifier: half y[n] = max(0, x[n]); full y[n] = abs(x[n]) (any text on waveshaping).
#include "kernel.h"

#if !defined(FORM_HALF) && !defined(FORM_FULL)
#error "rectifier: define FORM_HALF or FORM_FULL"
#endif

typedef kernel_nothing rectifier_params;
typedef kernel_nothing rectifier_state;

uint32_t rectifier_state_bytes(const kernel_env *env, const rectifier_params *p) {
  (void)env, (void)p;
  return 0;
}

void rectifier_start(rectifier_state *s, const kernel_env *env, const rectifier_params *p, void *const buffers[]) {
  (void)s, (void)env, (void)p, (void)buffers;
}

KERNEL_INLINE void rectifier_run(rectifier_state *s, const kernel_env *env, const float *const in[], float *const out[],
                                 uint32_t n) {
  (void)s;
  for (uint32_t c = 0; c < env->channels; c++) {
    const float *x = in[c];
    float *y = out[c];
    for (uint32_t i = 0; i < n; i++) {
#ifdef FORM_HALF
      y[i] = x[i] > 0 ? x[i] : 0;
#else
      y[i] = (float)kernel_abs(x[i]);
#endif
    }
  }
}
KERNEL_BLOCK(rectifier)

#ifdef KERNEL_STIMULI
// Signs take turns, so that as many samples are cut off in every block. The costliest samples are denormal.
void rectifier_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = (2 + kernel_noise(&seed)) * (costliest ? 1e-39f : 0.3f) * (i & 1 ? -1.0f : 1.0f);
}
#endif
