// Multi-tap delay: y[n] = sum over k = 1..K of c_k x[n - M_k], M_k = M (1 + b + ... + b^(k-1)) / (1 + b + ... + b^(K-1))
// to the nearest sample, c_k = d^(k-1) / (1 + d + ... + d^(K-1)), M = time x sample rate. The line is read before it is
// written, and a tap is at least one sample away.
#include "kernel.h"

#if !defined(FORMAT_FLOAT32) && !defined(FORMAT_INT16)
#error "multi-tap-delay: define FORMAT_FLOAT32 or FORMAT_INT16"
#endif

typedef struct {
  float time; // seconds; at the start the longest that will be asked for
  uint32_t taps;
  float bounce, decay; // from gap to gap, and from tap to tap
} multi_tap_delay_params;

typedef struct {
  uint32_t offset; // words from the place of writing back to the tap
  float gain;
} multi_tap_delay_tap;

typedef struct {
  kernel_sample *line;    // channels interleaved
  uint32_t length, index; // words
  uint32_t taps;
  multi_tap_delay_tap tap[]; // the last is the farthest
} multi_tap_delay_state;

uint32_t multi_tap_delay_state_bytes(const kernel_env *env, const multi_tap_delay_params *p) {
  (void)env;
  return sizeof(multi_tap_delay_state) + p->taps * sizeof(multi_tap_delay_tap);
}

// Words of the line. A time that is over a whole number of samples by less than two roundings of a float is whole.
static uint32_t multi_tap_delay_length(const kernel_env *env, const multi_tap_delay_params *p) {
  const float exact = p->time * env->sample_rate;
  uint32_t samples = (uint32_t)exact;
  if (exact - (float)samples > exact * 2.5e-7f)
    samples++;
  return samples * env->channels;
}

uint32_t multi_tap_delay_buffer_bytes(const kernel_env *env, const multi_tap_delay_params *p, uint32_t buffer) {
  (void)buffer;
  return multi_tap_delay_length(env, p) * sizeof(kernel_sample);
}

KERNEL_INLINE real multi_tap_delay_row(real ratio, uint32_t taps) {
  real power = 1, sum = 0;
  for (uint32_t k = 0; k < taps; k++) {
    sum += power;
    power *= ratio;
  }
  return sum;
}

void multi_tap_delay_update_places(multi_tap_delay_state *s, const kernel_env *env, const multi_tap_delay_params *p) {
  const uint32_t channels = env->channels;
  real gap = (real)p->time * env->sample_rate / multi_tap_delay_row(p->bounce, s->taps), place = 0;
  for (uint32_t k = 0; k < s->taps; k++) {
    place += gap;
    gap *= p->bounce;
    const uint32_t whole = (uint32_t)(place + (real)0.5);
    const uint32_t offset = (whole > 0 ? whole : 1) * channels;
    s->tap[k].offset = offset < s->length ? offset : s->length; // roundings add up over a long line
  }
}

void multi_tap_delay_update_gains(multi_tap_delay_state *s, const kernel_env *env, const multi_tap_delay_params *p) {
  (void)env;
  real gain = 1 / multi_tap_delay_row(p->decay, s->taps);
  for (uint32_t k = 0; k < s->taps; k++) {
    s->tap[k].gain = (float)gain;
    gain *= p->decay;
  }
}

void multi_tap_delay_start(multi_tap_delay_state *s, const kernel_env *env, const multi_tap_delay_params *p,
                           void *const buffers[]) {
  s->line = buffers[0];
  s->length = multi_tap_delay_length(env, p);
  s->index = 0;
  s->taps = p->taps;
  multi_tap_delay_update_places(s, env, p);
  multi_tap_delay_update_gains(s, env, p);
}

KERNEL_INLINE void multi_tap_delay_run(multi_tap_delay_state *s, const kernel_env *env, const float *const in[],
                                       float *const out[], uint32_t n) {
  const uint32_t channels = env->channels, length = s->length, taps = s->taps;
  uint32_t index = s->index;
  for (uint32_t c = 0; c < channels; c++) {
    const float *from = in[c];
    float *to = out[c];
    kernel_sample *line = s->line + c;
    index = s->index;
    for (uint32_t i = 0; i < n; i++) {
      real sum = 0;
      for (uint32_t k = 0; k < taps; k++) {
        const uint32_t offset = s->tap[k].offset;
        const uint32_t at = index >= offset ? index - offset : index + length - offset;
        sum += s->tap[k].gain * kernel_from_sample(line[at]);
      }
      line[index] = kernel_to_sample(from[i]);
      to[i] = (float)sum;
      index += channels;
      if (index == length)
        index = 0;
    }
  }
  s->index = index;
}
KERNEL_BLOCK(multi_tap_delay)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal.
void multi_tap_delay_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-40f : 0.5f);
}
#endif
