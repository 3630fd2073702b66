// Audio output: o[k][n] = round(2^31 x[k][n]), x held within full scale, o the 32-bit integers of the converter, its
// channels in turn. Full scale ends at 1 - 2^-24, the last float whose integer has room, so that what came from a
// converter of up to 24 bits goes out as it was.
#include "kernel.h"

typedef kernel_nothing audio_out_params;

typedef kernel_nothing audio_out_state;

uint32_t audio_out_state_bytes(const kernel_env *env, const audio_out_params *p) {
  (void)env, (void)p;
  return 0;
}

// Two halves: DMA has one while the core has the other. Which half it is, whoever calls the kernel knows.
uint32_t audio_out_buffer_bytes(const kernel_env *env, const audio_out_params *p, uint32_t buffer) {
  (void)p, (void)buffer;
  return 2 * env->block_size * env->channels * sizeof(int32_t);
}

void audio_out_start(audio_out_state *s, const kernel_env *env, const audio_out_params *p, void *const buffers[]) {
  (void)s, (void)env, (void)p, (void)buffers;
}

KERNEL_INLINE int32_t audio_out_word(real x) {
  const real most = (real)(1.0 - 1.0 / 16777216.0);
  x = x < -1 ? -1 : x > most ? most : x;
  const real word = x * (real)2147483648.0;
  return (int32_t)(word + (word < 0 ? -0.5f : 0.5f));
}

KERNEL_INLINE void audio_out_run(audio_out_state *s, const kernel_env *env, const float *const in[], float *const out[],
                                 uint32_t n) {
  (void)s;
  const uint32_t channels = env->channels;
  for (uint32_t c = 0; c < channels; c++) {
    const float *x = in[c];
    float *words = out[0] + c;
    for (uint32_t i = 0; i < n; i++)
      words[i * channels] = kernel_float((uint32_t)audio_out_word(x[i]));
  }
}
KERNEL_BLOCK(audio_out)

#ifdef KERNEL_STIMULI
// The costliest samples are small, with digits below the last bit of the converter, and below 0.
void audio_out_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++) {
    const float noise = kernel_noise(&seed);
    x[i] = !costliest ? noise : noise < 0 ? noise * 1e-3f : noise * -1e-3f;
  }
}
#endif
