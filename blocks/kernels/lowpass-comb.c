// Lowpass feedback comb: y[n] = w[n - M], f[n] = y[n] + p f[n - 1], w[n] = x[n] + g (1 - p) f[n],
// M = time x sample rate, p = damping (J.A. Moorer, About This Reverberation Business, Computer Music Journal 3(2)
// 13-28, 1979), g = 10^(-3 time / decay) (M.R. Schroeder, J. Audio Eng. Soc. 10(3) 219-223, 1962).
#include "kernel.h"

#if !defined(FORMAT_FLOAT32) && !defined(FORMAT_INT16)
#error "lowpass-comb: define FORMAT_FLOAT32 or FORMAT_INT16"
#endif

typedef struct {
  float time;    // seconds
  float decay;   // seconds in which the lowest tones fall by 60 dB
  float damping; // the pole
} lowpass_comb_params;

typedef struct {
  kernel_sample *line; // channels interleaved
  uint32_t length;     // words
  uint32_t index;      // word of the first channel that is read and written next
  float pole;
  float feedback;
  float memory[]; // f of each channel
} lowpass_comb_state;

uint32_t lowpass_comb_state_bytes(const kernel_env *env, const lowpass_comb_params *p) {
  (void)p;
  return sizeof(lowpass_comb_state) + env->channels * sizeof(float);
}

// Words of the line. A time that is over a whole number of samples by less than two roundings of a float is whole.
static uint32_t lowpass_comb_length(const kernel_env *env, const lowpass_comb_params *p) {
  const float exact = p->time * env->sample_rate;
  uint32_t samples = (uint32_t)exact;
  if (exact - (float)samples > exact * 2.5e-7f)
    samples++;
  return samples * env->channels;
}

uint32_t lowpass_comb_buffer_bytes(const kernel_env *env, const lowpass_comb_params *p, uint32_t buffer) {
  (void)buffer;
  return lowpass_comb_length(env, p) * sizeof(kernel_sample);
}

void lowpass_comb_update_gain(lowpass_comb_state *s, const kernel_env *env, const lowpass_comb_params *p) {
  (void)env;
  const real gain = kernel_exp2(p->time * (real)-9.96578428466 / p->decay); // -3 log2(10)
  s->pole = p->damping;
  s->feedback = (float)(gain * (1 - (real)p->damping));
}

void lowpass_comb_start(lowpass_comb_state *s, const kernel_env *env, const lowpass_comb_params *p,
                        void *const buffers[]) {
  s->line = buffers[0];
  s->length = lowpass_comb_length(env, p);
  s->index = 0;
  for (uint32_t c = 0; c < env->channels; c++)
    s->memory[c] = 0;
  lowpass_comb_update_gain(s, env, p);
}

KERNEL_INLINE void lowpass_comb_run(lowpass_comb_state *s, const kernel_env *env, const float *const in[],
                                    float *const out[], uint32_t n) {
  const uint32_t channels = env->channels, length = s->length;
  const real pole = s->pole, feedback = s->feedback;
  uint32_t index = s->index;
  for (uint32_t c = 0; c < channels; c++) {
    const float *x = in[c];
    float *y = out[c];
    kernel_sample *line = s->line + c;
    real memory = s->memory[c];
    index = s->index;
    for (uint32_t i = 0; i < n; i++) {
      const real echo = kernel_from_sample(line[index]);
      memory = echo + pole * memory;
      line[index] = kernel_to_sample(x[i] + feedback * memory);
      y[i] = (float)echo;
      index += channels;
      if (index == length)
        index = 0;
    }
    s->memory[c] = (float)memory;
  }
  s->index = index;
}
KERNEL_BLOCK(lowpass_comb)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal.
void lowpass_comb_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-38f : 0.25f);
}
#endif
