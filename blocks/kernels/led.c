// Light: o[n] = round(m v^2), v = max(0, min(1, x[n])), once a control period, o the word to the timer that dims.
#include "kernel.h"

// A timer of 12 bits: house judgement.
static const real led_greatest = 4095;

typedef kernel_nothing led_params;

typedef kernel_nothing led_state;

uint32_t led_state_bytes(const kernel_env *env, const led_params *p) {
  (void)env, (void)p;
  return 0;
}

void led_start(led_state *s, const kernel_env *env, const led_params *p, void *const buffers[]) {
  (void)s, (void)env, (void)p, (void)buffers;
}

void led_tick(led_state *s, const kernel_env *env, const float *const in[], float *const out[]) {
  (void)s, (void)env;
  real bright = *in[0];
  bright = bright < 0 ? 0 : bright > 1 ? 1 : bright;
  *out[0] = kernel_float((uint32_t)(led_greatest * bright * bright + 0.5f));
}

#ifdef KERNEL_STIMULI
// The costliest values are within range, so that both compares are made and all is multiplied.
void led_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = costliest ? 0.5f + 0.4f * kernel_noise(&seed) : 2.0f * kernel_noise(&seed);
}
#endif
