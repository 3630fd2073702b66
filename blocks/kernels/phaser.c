// Phaser: a chain of N first-order allpasses, p_k[n] = a (p_k-1[n] - p_k[n-1]) + p_k-1[n-1], a = (t - 1) / (t + 1),
// t = tan(pi corner / sample rate), fed with u[n] = x[n] + f p_N[n-1]; y[n] = x[n] + m (p_N[n] - x[n]) (any text on digital
// filters).
#include "kernel.h"

typedef struct {
  uint32_t stages; // 0 to 3 for 4, 6, 8 or 12
  float corner;    // hertz
  float feedback, mix;
} phaser_params;

typedef struct {
  float coefficient;
  float feedback, mix;
  uint32_t stages;
  float memory[]; // of each channel, the last input of the first stage and the last output of every stage
} phaser_state;

static uint32_t phaser_stages(const phaser_params *p) {
  static const uint8_t stages[] = {4, 6, 8, 12};
  return stages[p->stages];
}

uint32_t phaser_state_bytes(const kernel_env *env, const phaser_params *p) {
  return sizeof(phaser_state) + (phaser_stages(p) + 1) * env->channels * sizeof(float);
}

KERNEL_INLINE real phaser_coefficient(real radians) {
  const real t = kernel_tan(radians);
  return (t - 1) / (t + 1);
}

void phaser_update_coefficient(phaser_state *s, const kernel_env *env, const phaser_params *p) {
  s->coefficient = (float)phaser_coefficient(kernel_pi / env->sample_rate * p->corner);
}

void phaser_start(phaser_state *s, const kernel_env *env, const phaser_params *p, void *const buffers[]) {
  (void)buffers;
  phaser_update_coefficient(s, env, p);
  s->feedback = p->feedback;
  s->mix = p->mix;
  s->stages = phaser_stages(p);
  for (uint32_t i = 0; i < (s->stages + 1) * env->channels; i++)
    s->memory[i] = 0;
}

// The chain of one channel: the last input of a stage is the last output of the one before.
KERNEL_INLINE real phaser_chain(float memory[], uint32_t stages, real coefficient, real x) {
  real before = memory[0];
  memory[0] = (float)x;
  for (uint32_t k = 1; k <= stages; k++) {
    const real last = memory[k];
    x = coefficient * (x - last) + before;
    memory[k] = (float)x;
    before = last;
  }
  return x;
}

KERNEL_INLINE void phaser_run(phaser_state *s, const kernel_env *env, const float *const in[], float *const out[],
                              uint32_t n) {
  const uint32_t channels = env->channels, stages = s->stages;
  const real feedback = s->feedback, mix = s->mix;
#ifdef MOVED_CORNER_AUDIO
  // Sample by sample, since all channels share the costly coefficient.
  const float *corner = in[channels];
  const real radians_per_hertz = kernel_pi / env->sample_rate;
  for (uint32_t i = 0; i < n; i++) {
    const real coefficient = (float)phaser_coefficient(radians_per_hertz * corner[i]);
    float *memory = s->memory;
    for (uint32_t c = 0; c < channels; c++) {
      const real x = in[c][i];
      out[c][i] = (float)(x + mix * (phaser_chain(memory, stages, coefficient, x + feedback * memory[stages]) - x));
      memory += stages + 1;
    }
  }
#else
  const real coefficient = s->coefficient;
  float *memory = s->memory;
  for (uint32_t c = 0; c < channels; c++) {
    const float *from = in[c];
    float *to = out[c];
    for (uint32_t i = 0; i < n; i++) {
      const real x = from[i];
      to[i] = (float)(x + mix * (phaser_chain(memory, stages, coefficient, x + feedback * memory[stages]) - x));
    }
    memory += stages + 1;
  }
#endif
}
KERNEL_BLOCK(phaser)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal; the costliest corners are those that the tangent reduces most.
void phaser_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  if (channel == KERNEL_MOVED) {
    kernel_ramp(x, n, costliest ? 9000.0f : 200.0f, costliest ? 10000.0f : 2000.0f);
    return;
  }
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-38f : 1.0f);
}
#endif
