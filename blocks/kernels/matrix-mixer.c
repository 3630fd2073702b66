// Matrix mixer: y_o[n] = sum over k of g[o][k] x[k][n].
#include "kernel.h"

typedef struct {
  uint32_t outputs;
  float gain; // ratio, at every crosspoint
} matrix_mixer_params;

typedef struct {
  uint32_t outputs;
  float gain[]; // of the first output from each input, then of the next
} matrix_mixer_state;

uint32_t matrix_mixer_state_bytes(const kernel_env *env, const matrix_mixer_params *p) {
  return sizeof(matrix_mixer_state) + p->outputs * env->channels * sizeof(float);
}

void matrix_mixer_update_gains(matrix_mixer_state *s, const kernel_env *env, const matrix_mixer_params *p) {
  for (uint32_t i = 0; i < s->outputs * env->channels; i++)
    s->gain[i] = p->gain;
}

void matrix_mixer_start(matrix_mixer_state *s, const kernel_env *env, const matrix_mixer_params *p, void *const buffers[]) {
  (void)buffers;
  s->outputs = p->outputs;
  matrix_mixer_update_gains(s, env, p);
}

KERNEL_INLINE void matrix_mixer_run(matrix_mixer_state *s, const kernel_env *env, const float *const in[],
                                    float *const out[], uint32_t n) {
  const uint32_t channels = env->channels, outputs = s->outputs;
  const float *gain = s->gain;
  for (uint32_t o = 0; o < outputs; o++) {
    float *y = out[o];
    for (uint32_t i = 0; i < n; i++) {
      real sum = 0;
      for (uint32_t c = 0; c < channels; c++)
        sum += gain[c] * (real)in[c][i];
      y[i] = (float)sum;
    }
    gain += channels;
  }
}
KERNEL_BLOCK(matrix_mixer)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal, and so small that they are after any gain.
void matrix_mixer_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-40f : 1.0f);
}
#endif
