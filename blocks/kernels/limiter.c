// Limiter with look-ahead, all channels alike: m the greatest swing of this block of W samples so far and of the whole
// block before it, which together hold the last W at least; h[n] = min(T / max(T, m), u h[n-1]); the gain is the mean of
// the last W of h, and y = g x[n - W + 1]. Every h in the mean has seen the sample that it turns down, so that none passes
// T. Running maxima of blocks: M. van Herk, Pattern Recognition Letters 13, 1992 (from memory), of which the backward
// maxima are left out: the peak is held for up to 2 W, and no sample takes longer than another. A straight line in
// decibels back by 20 dB in the release: u = exp(ln 10 / (release rate)).
#include "dynamics.h"

typedef struct {
  float look_ahead; // seconds
  float threshold;  // decibels
  float release;    // seconds
} limiter_params;

typedef struct {
  float *line;        // channels interleaved
  uint32_t *lowered;  // by how much each h of the window lies below 1, in steps
  uint32_t length;    // W, samples
  uint32_t index;     // into the window
  uint32_t sum;       // of the window; whole numbers, so that it never drifts
  float scale;        // one over as many steps as the window holds at a gain of 1
  float held;         // h
  float swing, before; // greatest of this block and of the one before
  float ceiling, rise;
} limiter_state;

uint32_t limiter_state_bytes(const kernel_env *env, const limiter_params *p) {
  (void)env, (void)p;
  return sizeof(limiter_state);
}

// Samples of the window: the look-ahead and the sample itself. A time that is over a whole number of samples by less than
// two roundings of a float is whole.
static uint32_t limiter_length(const kernel_env *env, const limiter_params *p) {
  const float exact = p->look_ahead * env->sample_rate;
  uint32_t samples = (uint32_t)exact;
  if (exact - (float)samples > exact * 2.5e-7f)
    samples++;
  return samples + 1;
}

uint32_t limiter_buffer_bytes(const kernel_env *env, const limiter_params *p, uint32_t buffer) {
  return limiter_length(env, p) * (buffer == 0 ? env->channels : 1) * sizeof(float);
}

// Steps of a gain of 1. The longest window, 10 ms at 192 kHz, holds 1921 of them, which is below 2^32.
static const uint32_t limiter_steps = 1u << 20;

// The ceiling lies below the threshold by as much as the roundings of one sample may add up to.
void limiter_update_threshold(limiter_state *s, const kernel_env *env, const limiter_params *p) {
  (void)env;
  s->ceiling = (float)(dynamics_ratio(p->threshold) * (real)(1 - 5e-7));
}

void limiter_update_release(limiter_state *s, const kernel_env *env, const limiter_params *p) {
  s->rise = (float)kernel_exp((real)2.30258509299 / ((real)p->release * env->sample_rate));
}

void limiter_start(limiter_state *s, const kernel_env *env, const limiter_params *p, void *const buffers[]) {
  s->line = buffers[0];
  s->lowered = buffers[1];
  s->length = limiter_length(env, p);
  s->index = 0;
  s->sum = 0;
  s->scale = 1 / ((float)limiter_steps * (float)s->length);
  s->held = 1;
  s->swing = 0;
  s->before = 0;
  limiter_update_threshold(s, env, p);
  limiter_update_release(s, env, p);
}

KERNEL_INLINE void limiter_run(limiter_state *s, const kernel_env *env, const float *const in[], float *const out[],
                               uint32_t n) {
  const uint32_t channels = env->channels, length = s->length, full = length * limiter_steps;
  const real scale = s->scale, ceiling = s->ceiling, rise = s->rise;
  uint32_t index = s->index, sum = s->sum;
  float held = s->held;
  real swing = s->swing, before = s->before;
  for (uint32_t i = 0; i < n; i++) {
    swing = dynamics_swing(in, channels, i, swing);
    const real greatest = swing > before ? swing : before;
    const real wanted = ceiling / (greatest > ceiling ? greatest : ceiling);
    const real risen = rise * held;
    held = (float)(risen < wanted ? risen : wanted);
    const uint32_t lowered = limiter_steps - (uint32_t)(held * (real)limiter_steps);
    sum += lowered - s->lowered[index];
    s->lowered[index] = lowered;
    const real gain = (real)(full - sum) * scale;
    float *young = s->line + index * channels;
    if (++index == length) {
      index = 0;
      before = swing;
      swing = 0;
    }
    const float *old = s->line + index * channels;
    for (uint32_t c = 0; c < channels; c++) {
      young[c] = in[c][i];
      out[c][i] = (float)(gain * old[c]);
    }
  }
  s->index = index;
  s->sum = sum;
  s->held = held;
  s->swing = (float)swing;
  s->before = (float)before;
}
KERNEL_BLOCK(limiter)

#ifdef KERNEL_STIMULI
// Loud over every threshold. The costliest lie below all of them, so that the gain goes on rising and is held at 1, which
// takes the most where floats are made by software.
void limiter_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = (2 + kernel_noise(&seed)) * (costliest ? 1e-6f : 1.3f);
}
#endif
