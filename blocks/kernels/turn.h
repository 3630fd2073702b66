// The sine of a quarter turn by a polynomial, and of a phase whose turn is 2^32. Folded by masks in place of branches, so
// that a phase that jumps from quarter to quarter takes as long as any other.
#ifndef TURN_H
#define TURN_H

#include "kernel.h"

// sin(pi / 2 q) for q from -1 to 1. Minimax fit of our own, by Remez exchange; greatest error 5.9e-7.
KERNEL_INLINE real turn_quarter(real q) {
  const real square = q * q;
  return q * ((real)1.57079101108 +
              square * ((real)-0.645892849548 + square * ((real)0.0794343446169 + square * (real)-0.00433309529249)));
}

// The second and third quarter, whose two upper bits differ, are mirrored onto the fourth and first: 2^31 less the phase.
KERNEL_INLINE real turn_sine(uint32_t phase) {
  const uint32_t mirrored = (uint32_t)((int32_t)(phase ^ phase << 1) >> 31);
  const uint32_t folded = (phase ^ mirrored) + (mirrored & 0x80000001u);
  return turn_quarter((real)(int32_t)folded * (real)(1.0 / 1073741824.0));
}

#endif
