// Steps of a phase whose turn is 2^32, from a pitch in hertz without a float routine.
#ifndef FIXED_PHASE_H
#define FIXED_PHASE_H

#include "fixed.h"

// Steps a sample of a phase that turns once a second.
static inline float fixed_phase_per_hertz(const kernel_env *env) {
  return 4294967296.0f / env->sample_rate;
}

// A step a sample, the product of the two cut to a whole number: significands are multiplied and exponents added. Whole
// turns, and what lies beyond them, must not be asked for.
KERNEL_INLINE uint32_t fixed_phase_increment(float per_hertz, float pitch) {
  const uint32_t a = kernel_bits(per_hertz), b = kernel_bits(pitch);
  const int32_t product = fixed_long_product((int32_t)((a << 8 | 0x80000000u) >> 1), (int32_t)((b << 8 | 0x80000000u) >> 1));
  const int32_t down = 283 - (int32_t)(a >> 23 & 0xff) - (int32_t)(b >> 23 & 0xff);
  return down < 0 ? (uint32_t)product << -down : down < 32 ? (uint32_t)product >> down : 0;
}

#endif
