// DC blocker: y[n] = x[n] - x[n-1] + R y[n-1], R = 1 - 2 pi cutoff / sample rate (J.O. Smith, Introduction to Digital
// Filters).
#include "kernel.h"

typedef struct {
  float cutoff; // hertz
} dc_blocker_params;

typedef struct {
  float input, output; // of the last sample
} dc_blocker_memory;

typedef struct {
  float coefficient; // R
  dc_blocker_memory memory[];
} dc_blocker_state;

uint32_t dc_blocker_state_bytes(const kernel_env *env, const dc_blocker_params *p) {
  (void)p;
  return sizeof(dc_blocker_state) + env->channels * sizeof(dc_blocker_memory);
}

void dc_blocker_update_coefficient(dc_blocker_state *s, const kernel_env *env, const dc_blocker_params *p) {
  s->coefficient = (float)(1 - 2 * kernel_pi / env->sample_rate * p->cutoff);
}

void dc_blocker_start(dc_blocker_state *s, const kernel_env *env, const dc_blocker_params *p, void *const buffers[]) {
  (void)buffers;
  dc_blocker_update_coefficient(s, env, p);
  for (uint32_t c = 0; c < env->channels; c++)
    s->memory[c] = (dc_blocker_memory){0};
}

KERNEL_INLINE void dc_blocker_run(dc_blocker_state *s, const kernel_env *env, const float *const in[],
                                  float *const out[], uint32_t n) {
  const real coefficient = s->coefficient;
  for (uint32_t c = 0; c < env->channels; c++) {
    const float *x = in[c];
    float *y = out[c];
    dc_blocker_memory memory = s->memory[c];
    for (uint32_t i = 0; i < n; i++) {
      const float input = x[i];
      memory.output = (float)((real)input - memory.input + coefficient * memory.output);
      memory.input = input;
      y[i] = memory.output;
    }
    s->memory[c] = memory;
  }
}
KERNEL_BLOCK(dc_blocker)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal.
void dc_blocker_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-38f : 1.0f);
}
#endif
