// Allpass chain: N first-order allpasses one behind the other, p_k[n] = a (p_k-1[n] - p_k[n-1]) + p_k-1[n-1], p_0 = x, y = p_N,
// a = (t - 1) / (t + 1), t = tan(pi corner / sample rate) (any text on digital filters).
#include "kernel.h"

typedef struct {
  uint32_t stages;
  float corner; // hertz
} allpass_chain_params;

typedef struct {
  float coefficient;
  uint32_t stages;
  float memory[]; // of each channel, the last input of the first stage and the last output of every stage
} allpass_chain_state;

uint32_t allpass_chain_state_bytes(const kernel_env *env, const allpass_chain_params *p) {
  return sizeof(allpass_chain_state) + (p->stages + 1) * env->channels * sizeof(float);
}

void allpass_chain_update_coefficient(allpass_chain_state *s, const kernel_env *env, const allpass_chain_params *p) {
  const real t = kernel_tan(kernel_pi / env->sample_rate * p->corner);
  s->coefficient = (float)((t - 1) / (t + 1));
}

void allpass_chain_start(allpass_chain_state *s, const kernel_env *env, const allpass_chain_params *p,
                         void *const buffers[]) {
  (void)buffers;
  allpass_chain_update_coefficient(s, env, p);
  s->stages = p->stages;
  for (uint32_t i = 0; i < (s->stages + 1) * env->channels; i++)
    s->memory[i] = 0;
}

KERNEL_INLINE void allpass_chain_run(allpass_chain_state *s, const kernel_env *env, const float *const in[],
                                     float *const out[], uint32_t n) {
  const uint32_t channels = env->channels, stages = s->stages;
  const real coefficient = s->coefficient;
  float *memory = s->memory;
  for (uint32_t c = 0; c < channels; c++) {
    const float *from = in[c];
    float *to = out[c];
    for (uint32_t i = 0; i < n; i++) {
      real x = from[i];
      real before = memory[0];
      memory[0] = (float)x;
      for (uint32_t k = 1; k <= stages; k++) {
        const real last = memory[k];
        x = coefficient * (x - last) + before;
        memory[k] = (float)x;
        before = last;
      }
      to[i] = (float)x;
    }
    memory += stages + 1;
  }
}
KERNEL_BLOCK(allpass_chain)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal.
void allpass_chain_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-38f : 1.0f);
}
#endif
