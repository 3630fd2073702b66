// What kernels without a signal at their inputs share: blocks that events alone drive, and sources.
#ifndef UNHEARD_H
#define UNHEARD_H

#include "kernel.h"

#ifdef KERNEL_STIMULI
// UNHEARD_STIMULUS defines the stimulus of such a kernel, which is never listened to.
#define UNHEARD_STIMULUS(name)                                                                                         \
  void name##_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {                        \
    (void)costliest, (void)channel, (void)block;                                                                       \
    for (uint32_t i = 0; i < n; i++)                                                                                   \
      x[i] = 0;                                                                                                        \
  }
#else
#define UNHEARD_STIMULUS(name)
#endif

#endif
