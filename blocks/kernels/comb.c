// Feedback comb: y[n] = w[n - M], w[n] = x[n] + g w[n - M], M = time x sample rate, g = 10^(-3 time / decay)
// (M.R. Schroeder, Natural Sounding Artificial Reverberation, J. Audio Eng. Soc. 10(3) 219-223, 1962). The line has M
// words: one place is read and then written.
#include "kernel.h"

#if !defined(FORMAT_FLOAT32) && !defined(FORMAT_INT16)
#error "comb: define FORMAT_FLOAT32 or FORMAT_INT16"
#endif

typedef struct {
  float time;  // seconds
  float decay; // seconds to -60 dB
} comb_params;

typedef struct {
  kernel_sample *line; // channels interleaved
  uint32_t length;     // words
  uint32_t index;      // word of the first channel that is read and written next
  float gain;
} comb_state;

uint32_t comb_state_bytes(const kernel_env *env, const comb_params *p) {
  (void)env, (void)p;
  return sizeof(comb_state);
}

// Words of the line. A time that is over a whole number of samples by less than two roundings of a float is whole.
static uint32_t comb_length(const kernel_env *env, const comb_params *p) {
  const float exact = p->time * env->sample_rate;
  uint32_t samples = (uint32_t)exact;
  if (exact - (float)samples > exact * 2.5e-7f)
    samples++;
  return samples * env->channels;
}

uint32_t comb_buffer_bytes(const kernel_env *env, const comb_params *p, uint32_t buffer) {
  (void)buffer;
  return comb_length(env, p) * sizeof(kernel_sample);
}

void comb_update_gain(comb_state *s, const kernel_env *env, const comb_params *p) {
  (void)env;
  s->gain = (float)kernel_exp2(p->time * (real)-9.96578428466 / p->decay); // -3 log2(10)
}

void comb_start(comb_state *s, const kernel_env *env, const comb_params *p, void *const buffers[]) {
  s->line = buffers[0];
  s->length = comb_length(env, p);
  s->index = 0;
  comb_update_gain(s, env, p);
}

KERNEL_INLINE void comb_run(comb_state *s, const kernel_env *env, const float *const in[], float *const out[],
                            uint32_t n) {
  const uint32_t channels = env->channels, length = s->length;
  const real gain = s->gain;
  uint32_t index = s->index;
  for (uint32_t c = 0; c < channels; c++) {
    const float *x = in[c];
    float *y = out[c];
    kernel_sample *line = s->line + c;
    index = s->index;
    for (uint32_t i = 0; i < n; i++) {
      const real echo = kernel_from_sample(line[index]);
      line[index] = kernel_to_sample(x[i] + gain * echo);
      y[i] = (float)echo;
      index += channels;
      if (index == length)
        index = 0;
    }
  }
  s->index = index;
}
KERNEL_BLOCK(comb)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal, and so small that the sum of their echoes is too.
void comb_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-40f : 0.25f);
}
#endif
