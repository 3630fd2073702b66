// Reverse delay: y[n] = g w[jS - 1 - k] + (1 - g) w[(j - 1)S - 1 - (k + S)], n = jS + k, k from 0 to below S,
// g = min(1, k / F), w[n] = x[n] + feedback y[n]. Each segment of S samples is played back from its end while the next is
// written; the one before plays on, further back, until it has faded out over F samples. The line is read before it is
// written and holds 2 (S + F) samples, the farthest that is heard.
#include "kernel.h"

#if !defined(FORMAT_FLOAT32) && !defined(FORMAT_INT16)
#error "reverse-delay: define FORMAT_FLOAT32 or FORMAT_INT16"
#endif

typedef struct {
  float segment, fade; // seconds; of the fade at most the segment is used
  float feedback;      // ratio
} reverse_delay_params;

typedef struct {
  kernel_sample *line; // channels interleaved
  uint32_t length;     // words
  uint32_t index;      // of the word that is written next
  uint32_t newer, older; // of those that the two heads read next
  uint32_t segment, left; // samples of a segment, and those until the next one begins
  float gain, step; // of the newer head, and by how much it grows from sample to sample
  float feedback;
} reverse_delay_state;

uint32_t reverse_delay_state_bytes(const kernel_env *env, const reverse_delay_params *p) {
  (void)env, (void)p;
  return sizeof(reverse_delay_state);
}

// A time that is over a whole number of samples by less than two roundings of a float is whole.
static uint32_t reverse_delay_samples(const kernel_env *env, float seconds) {
  const float exact = seconds * env->sample_rate;
  uint32_t samples = (uint32_t)exact;
  if (exact - (float)samples > exact * 2.5e-7f)
    samples++;
  return samples;
}

static uint32_t reverse_delay_fade(const kernel_env *env, const reverse_delay_params *p) {
  return reverse_delay_samples(env, p->fade < p->segment ? p->fade : p->segment);
}

static uint32_t reverse_delay_length(const kernel_env *env, const reverse_delay_params *p) {
  return 2 * (reverse_delay_samples(env, p->segment) + reverse_delay_fade(env, p)) * env->channels;
}

uint32_t reverse_delay_buffer_bytes(const kernel_env *env, const reverse_delay_params *p, uint32_t buffer) {
  (void)buffer;
  return reverse_delay_length(env, p) * sizeof(kernel_sample);
}

void reverse_delay_start(reverse_delay_state *s, const kernel_env *env, const reverse_delay_params *p,
                         void *const buffers[]) {
  const uint32_t length = reverse_delay_length(env, p), segment = reverse_delay_samples(env, p->segment);
  *s = (reverse_delay_state){
      .line = buffers[0],
      .length = length,
      .newer = length - env->channels,
      .older = length - env->channels,
      .segment = segment,
      .left = segment,
      .step = 1.0f / (float)reverse_delay_fade(env, p),
      .feedback = p->feedback,
  };
}

// One sample back, round the start of the line.
KERNEL_INLINE uint32_t reverse_delay_back(uint32_t at, uint32_t length, uint32_t channels) {
  return at >= channels ? at - channels : at + length - channels;
}

KERNEL_INLINE void reverse_delay_run(reverse_delay_state *s, const kernel_env *env, const float *const in[],
                                     float *const out[], uint32_t n) {
  const uint32_t channels = env->channels, length = s->length;
  const real feedback = s->feedback, step = s->step;
  uint32_t index = s->index, newer = s->newer, older = s->older, left = s->left;
  real gain = s->gain;
  for (uint32_t c = 0; c < channels; c++) {
    const float *x = in[c];
    float *y = out[c];
    kernel_sample *line = s->line + c;
    index = s->index;
    newer = s->newer;
    older = s->older;
    left = s->left;
    gain = s->gain;
    for (uint32_t i = 0; i < n; i++) {
      const real one = kernel_from_sample(line[newer]), other = kernel_from_sample(line[older]);
      const real echo = other + gain * (one - other);
      line[index] = kernel_to_sample(x[i] + feedback * echo);
      y[i] = (float)echo;
      gain += step;
      if (gain > 1)
        gain = 1;
      newer = reverse_delay_back(newer, length, channels);
      older = reverse_delay_back(older, length, channels);
      index += channels;
      if (index == length)
        index = 0;
      if (--left == 0) {
        left = s->segment;
        older = newer;
        newer = reverse_delay_back(index, length, channels);
        gain = 0;
      }
    }
  }
  s->index = index;
  s->newer = newer;
  s->older = older;
  s->left = left;
  s->gain = (float)gain;
}
KERNEL_BLOCK(reverse_delay)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal.
void reverse_delay_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-40f : 0.5f);
}
#endif
