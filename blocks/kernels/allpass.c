// Schroeder allpass: y[n] = -g x[n] + x[n - M] + g y[n - M] (M.R. Schroeder, J. Acoust. Soc. Am. 33(8) 1061-1064,
// 1961), run on one line of M = time x sample rate words as v[n] = x[n] + g v[n - M], y[n] = v[n - M] - g v[n].
#include "kernel.h"

#if !defined(FORMAT_FLOAT32) && !defined(FORMAT_INT16)
#error "allpass: define FORMAT_FLOAT32 or FORMAT_INT16"
#endif

typedef struct {
  float time; // seconds
  float gain; // ratio
} allpass_params;

typedef struct {
  kernel_sample *line; // channels interleaved
  uint32_t length;     // words
  uint32_t index;      // word of the first channel that is read and written next
  float gain;
} allpass_state;

uint32_t allpass_state_bytes(const kernel_env *env, const allpass_params *p) {
  (void)env, (void)p;
  return sizeof(allpass_state);
}

// Words of the line. A time that is over a whole number of samples by less than two roundings of a float is whole.
static uint32_t allpass_length(const kernel_env *env, const allpass_params *p) {
  const float exact = p->time * env->sample_rate;
  uint32_t samples = (uint32_t)exact;
  if (exact - (float)samples > exact * 2.5e-7f)
    samples++;
  return samples * env->channels;
}

uint32_t allpass_buffer_bytes(const kernel_env *env, const allpass_params *p, uint32_t buffer) {
  (void)buffer;
  return allpass_length(env, p) * sizeof(kernel_sample);
}

void allpass_start(allpass_state *s, const kernel_env *env, const allpass_params *p, void *const buffers[]) {
  s->line = buffers[0];
  s->length = allpass_length(env, p);
  s->index = 0;
  s->gain = p->gain;
}

KERNEL_INLINE void allpass_run(allpass_state *s, const kernel_env *env, const float *const in[], float *const out[],
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
      const real oldest = kernel_from_sample(line[index]);
      const real newest = x[i] + gain * oldest;
      line[index] = kernel_to_sample(newest);
      y[i] = (float)(oldest - gain * newest);
      index += channels;
      if (index == length)
        index = 0;
    }
  }
  s->index = index;
}
KERNEL_BLOCK(allpass)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal.
void allpass_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-38f : 0.25f);
}
#endif
