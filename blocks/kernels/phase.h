// Phases of oscillators as whole numbers: a turn is 2^32, so that they wrap by themselves and never drift.
#ifndef PHASE_H
#define PHASE_H

#include "kernel.h"

// Steps a sample of a phase that turns once a second.
KERNEL_INLINE real phase_per_hertz(const kernel_env *env) {
  return 4294967296.0f / (real)env->sample_rate;
}

// A step a sample; whole turns, and what lies beyond them, must not be asked for.
KERNEL_INLINE uint32_t phase_increment(real per_hertz, real pitch) {
  return (uint32_t)(per_hertz * pitch);
}

// A ramp from -1 at the wrap to 1 just before it.
KERNEL_INLINE real phase_ramp(uint32_t phase) {
  return (real)(int32_t)(phase ^ 0x80000000u) * (real)(1.0 / 2147483648.0);
}

#endif
