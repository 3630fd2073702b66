// What kernels share that turn all channels up or down alike: the swing that they listen to, and levels in decibels.
#ifndef DYNAMICS_H
#define DYNAMICS_H

#include "kernel.h"

static const real dynamics_doublings = (real)(1 / 6.02059991327962390427); // in a decibel

// The ratio of amplitudes of a level in decibels.
KERNEL_INLINE real dynamics_ratio(real level) {
  return kernel_exp2(dynamics_doublings * level);
}

// The greatest swing of any channel at sample i, or the least that is given.
KERNEL_INLINE real dynamics_swing(const float *const in[], uint32_t channels, uint32_t i, real least) {
  real found = least;
  for (uint32_t c = 0; c < channels; c++) {
    const real swing = kernel_abs(in[c][i]);
    found = swing > found ? swing : found;
  }
  return found;
}

#endif
