// Recorded sounds of one channel, which lie in flash or in RAM, go round from their last sample to their first, and are
// read between their samples.
#ifndef RECORDING_H
#define RECORDING_H

#include "kernel.h"

#if !defined(FORMAT_FLOAT32) && !defined(FORMAT_INT16)
#error "define FORMAT_FLOAT32 or FORMAT_INT16"
#endif

// Samples that a time takes. One that is over a whole number by less than two roundings of a float is whole.
static inline uint32_t recording_length(const kernel_env *env, float time) {
  const float exact = time * env->sample_rate;
  const uint32_t samples = (uint32_t)exact;
  return exact - (float)samples > exact * 2.5e-7f ? samples + 1 : samples;
}

// A number from 0 to below 1, by a 32-bit xorshift generator with the shifts 13, 17, 5 (G. Marsaglia, Journal of
// Statistical Software 8(14), 2003). The seed must not be 0.
static inline real recording_random(uint32_t *seed) {
  uint32_t x = *seed;
  x ^= x << 13;
  x ^= x >> 17;
  x ^= x << 5;
  *seed = x;
  return (real)(x >> 8) * (real)(1.0 / 16777216.0);
}

// A recording to try players with: noise, of another seed for each number.
static inline void recording_fill(const kernel_env *env, float time, uint32_t number, kernel_sample *sound) {
  const uint32_t length = recording_length(env, time);
  uint32_t seed = 0x9e3779b9u * number | 1u;
  for (uint32_t i = 0; i < length; i++)
    sound[i] = kernel_to_sample(recording_random(&seed) - (real)0.5);
}

KERNEL_INLINE uint32_t recording_after(uint32_t at, uint32_t length) {
  return at + 1 < length ? at + 1 : 0;
}

// On a straight line between a sample and the one after it.
KERNEL_INLINE real recording_line(const kernel_sample *sound, uint32_t length, uint32_t at, real fraction) {
  const real here = kernel_from_sample(sound[at]);
  const real next = kernel_from_sample(sound[recording_after(at, length)]);
  return here + fraction * (next - here);
}

#endif
