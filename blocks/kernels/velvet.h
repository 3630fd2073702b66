// Reverberators that are one long response of velvet noise: y[n] = sum over k of g_k s_k x[n - m_k], pulses of random sign
// s_k at random places, one in each stretch of T samples, m_k = 1 + round(k T + r (T - 1)), r from 0 to 1, under an
// envelope g in steps (M. Karjalainen and H. Jarvelainen, Reverberation Modeling Using Velvet Noise, AES 30th
// International Conference, 2007). x is the mean of the input's channels. The line is read before it is written.
#ifndef VELVET_H
#define VELVET_H

#include "kernel.h"

#if !defined(FORMAT_FLOAT32) && !defined(FORMAT_INT16)
#error "define FORMAT_FLOAT32 or FORMAT_INT16"
#endif

enum { velvet_steps = 20 };

// Pulses of one gain, as two rows of gaps in samples: first those to be added, then those to be taken off.
typedef struct {
  uint32_t start; // samples before the place of writing, from which both rows count
  uint16_t added, taken;
  float gain;
} velvet_step;

// The response, as it lies in flash.
typedef struct {
  velvet_step step[velvet_steps];
  uint16_t gap[];
} velvet_response;

typedef struct {
  kernel_sample *line;
  uint32_t length;
  uint32_t index; // where the oldest sample is and the newest will be
  const velvet_response *response;
  float input_scale; // one over the number of channels
} velvet_state;

// Words of the line. A time that is over a whole number of samples by less than two roundings of a float is whole.
static inline uint32_t velvet_length(const kernel_env *env, float seconds) {
  const float exact = seconds * env->sample_rate;
  uint32_t samples = (uint32_t)exact;
  if (exact - (float)samples > exact * 2.5e-7f)
    samples++;
  return samples;
}

static inline uint32_t velvet_response_bytes(uint32_t pulses) {
  return sizeof(velvet_response) + pulses * sizeof(uint16_t);
}

// A number from 0 to below 1, by a 32-bit xorshift generator with the shifts 13, 17, 5 (G. Marsaglia, Journal of
// Statistical Software 8(14), 2003).
static inline float velvet_random(uint32_t *seed) {
  uint32_t x = *seed;
  x ^= x << 13;
  x ^= x >> 17;
  x ^= x << 5;
  *seed = x;
  return (float)(x >> 8) * (1.0f / 16777216.0f);
}

// Fills the response with as many pulses over a line, under an envelope whose energy over all pulses becomes 1.
static inline void velvet_fill(velvet_response *response, uint32_t length, uint32_t pulses,
                               const float envelope[velvet_steps]) {
  const float stretch = (float)length / (float)pulses;
  float energy = 0;
  uint32_t seed = 0x2545f491u;
  uint16_t *gap = response->gap;
  for (uint32_t j = 0; j < velvet_steps; j++) {
    const uint32_t first = j * pulses / velvet_steps, end = (j + 1) * pulses / velvet_steps;
    velvet_step *step = &response->step[j];
    *step = (velvet_step){.start = (uint32_t)((float)first * stretch), .gain = envelope[j]};
    energy += (float)(end - first) * envelope[j] * envelope[j];
    // Both rows from the same draws.
    const uint32_t drawn = seed;
    for (uint32_t taken = 0; taken < 2; taken++) {
      uint32_t last = step->start;
      seed = drawn;
      for (uint32_t k = first; k < end; k++) {
        const uint32_t place = 1 + (uint32_t)((float)k * stretch + velvet_random(&seed) * (stretch - 1) + 0.5f);
        if ((velvet_random(&seed) < 0.5f) != taken)
          continue;
        *gap++ = (uint16_t)(place - last);
        last = place;
        if (taken)
          step->taken++;
        else
          step->added++;
      }
    }
  }
  const float scale = (float)(1 / kernel_sqrt((real)energy));
  for (uint32_t j = 0; j < velvet_steps; j++)
    response->step[j].gain *= scale;
}

static inline void velvet_start(velvet_state *s, const kernel_env *env, uint32_t length, void *const buffers[]) {
  *s = (velvet_state){buffers[0], length, 0, buffers[1], 1.0f / (float)env->channels};
}

KERNEL_INLINE void velvet_run(velvet_state *s, const kernel_env *env, const float *const in[], float *const out[],
                              uint32_t n) {
  const uint32_t channels = env->channels, length = s->length;
  const real input_scale = s->input_scale;
  kernel_sample *line = s->line;
  float *y = out[0];
  uint32_t index = s->index;
  for (uint32_t i = 0; i < n; i++) {
    real x = in[0][i];
    for (uint32_t c = 1; c < channels; c++)
      x += in[c][i];
    real all = 0;
    const uint16_t *gap = s->response->gap;
    for (uint32_t j = 0; j < velvet_steps; j++) {
      const velvet_step *step = &s->response->step[j];
      const uint32_t start = index >= step->start ? index - step->start : index + length - step->start;
      real sum = 0;
      uint32_t at = start;
      for (const uint16_t *end = gap + step->added; gap < end; gap++) {
        at = at >= *gap ? at - *gap : at + length - *gap;
        sum += kernel_from_sample(line[at]);
      }
      at = start;
      for (const uint16_t *end = gap + step->taken; gap < end; gap++) {
        at = at >= *gap ? at - *gap : at + length - *gap;
        sum -= kernel_from_sample(line[at]);
      }
      all += step->gain * sum;
    }
    line[index] = kernel_to_sample(x * input_scale);
    if (++index == length)
      index = 0;
    y[i] = (float)all;
  }
  s->index = index;
}

#ifdef KERNEL_STIMULI
// The costliest samples are denormal.
static inline void velvet_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-38f : 0.1f);
}
#endif

#endif
