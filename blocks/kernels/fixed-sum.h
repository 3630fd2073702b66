// Sums in fixed point that are held at full scale.
#ifndef FIXED_SUM_H
#define FIXED_SUM_H

#include "fixed.h"

KERNEL_INLINE int32_t fixed_sum(int32_t a, int32_t b) {
  int32_t sum;
  return __builtin_add_overflow(a, b, &sum) ? INT32_MAX ^ (a >> 31) : sum;
}

#endif
