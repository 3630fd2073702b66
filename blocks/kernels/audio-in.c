// Audio input: y[k][n] = 2^-31 i[k][n], i the 32-bit integers of the converter, its channels in turn.
#include "kernel.h"

typedef kernel_nothing audio_in_params;

typedef kernel_nothing audio_in_state;

uint32_t audio_in_state_bytes(const kernel_env *env, const audio_in_params *p) {
  (void)env, (void)p;
  return 0;
}

// Two halves: DMA has one while the core has the other. Which half it is, whoever calls the kernel knows.
uint32_t audio_in_buffer_bytes(const kernel_env *env, const audio_in_params *p, uint32_t buffer) {
  (void)p, (void)buffer;
  return 2 * env->block_size * env->channels * sizeof(int32_t);
}

void audio_in_start(audio_in_state *s, const kernel_env *env, const audio_in_params *p, void *const buffers[]) {
  (void)s, (void)env, (void)p, (void)buffers;
}

KERNEL_INLINE void audio_in_run(audio_in_state *s, const kernel_env *env, const float *const in[], float *const out[],
                                uint32_t n) {
  (void)s;
  const uint32_t channels = env->channels;
  for (uint32_t c = 0; c < channels; c++) {
    const float *words = in[0] + c;
    float *y = out[c];
    for (uint32_t i = 0; i < n; i++)
      y[i] = (float)((real)(int32_t)kernel_bits(words[i * channels]) * (real)(1.0 / 2147483648.0));
  }
}
KERNEL_BLOCK(audio_in)

#ifdef KERNEL_STIMULI
// Words of the converter. The costliest are negative and must be rounded where floats are made by software.
void audio_in_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++) {
    const int32_t word = (int32_t)(kernel_noise(&seed) * 1e9f);
    x[i] = kernel_float((uint32_t)(costliest ? -1000000001 - (word & 0xffff) : word));
  }
}
#endif
