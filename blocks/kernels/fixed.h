// Fixed-point words for cores that make floats in software. A word of q15 is sixteen bits, one of q31 thirty-two, each a
// sign and a fraction of full scale (in Arm's notation Q0.15 and Q0.31, from memory): -1 to 1, less one step. Whatever lies
// beyond is held at full scale, equally far to both sides. Wires stay float: words are made and taken apart by the bits of
// a float, exponent and significand (IEEE 754 single precision), so that no float routine is called.
#ifndef FIXED_H
#define FIXED_H

#include "kernel.h"

#if defined(WORD_Q15)
typedef int16_t fixed_word; // as it lies in memory; in a register a word is an int32_t
#elif defined(WORD_Q31)
typedef int32_t fixed_word;
#else
#error "define WORD_Q15 or WORD_Q31"
#endif

// A word of x 2^-down: of sixteen bits rounded to the nearest, half away from zero; of thirty-two cut toward zero, which
// takes nothing from what is louder than 2^-8, since a float has no more bits.
KERNEL_INLINE int32_t fixed_scaled(float x, int32_t down) {
  const uint32_t bits = kernel_bits(x);
  const int32_t shift = 127 + down - (int32_t)(bits >> 23 & 0xff);
  uint32_t size = bits << 8 | 0x80000000u;
  size = shift <= 0 ? 0x7fffffffu : shift < 32 ? size >> shift : 0;
#ifdef WORD_Q15
  size = (size + 0x8000u) >> 16;
  size -= size >> 15; // 1 is not a word
#endif
  const uint32_t sign = (uint32_t)((int32_t)bits >> 31);
  return (int32_t)((size ^ sign) - sign);
}

KERNEL_INLINE int32_t fixed_from_float(float x) {
  return fixed_scaled(x, 0);
}

// The float of x 2^(up - 31), rounded to the nearest, half away from zero.
KERNEL_INLINE float fixed_unscaled(int32_t x, uint32_t up) {
  if (x == 0)
    return 0;
  const uint32_t sign = (uint32_t)(x >> 31);
  const uint32_t size = ((uint32_t)x ^ sign) - sign;
  const uint32_t zeros = (uint32_t)__builtin_clz(size);
  const uint32_t significand = size << zeros;
  // The leading one adds itself to the exponent, and so does what rounding carries.
  return kernel_float(((uint32_t)x & 0x80000000u) + ((126 + up - zeros) << 23) + (((significand >> 7) + 1) >> 1));
}

KERNEL_INLINE float fixed_to_float(int32_t x) {
  return fixed_unscaled(x, 0);
}

// The product of two numbers in fractions of 2^31, cut to the step below. Armv6-M multiplies to thirty-two bits alone, and
// four such products of halves give the same bits sooner than a routine for sixty-four.
KERNEL_INLINE int32_t fixed_long_product(int32_t a, int32_t b) {
#if __ARM_ARCH_6M__ || defined(FIXED_BY_HALVES)
  const int32_t high_a = a >> 16, high_b = b >> 16;
  const uint32_t low_a = (uint32_t)a & 0xffffu, low_b = (uint32_t)b & 0xffffu;
  const int32_t first = high_a * (int32_t)low_b + (int32_t)(low_a * low_b >> 16);
  const int32_t second = high_b * (int32_t)low_a + (first & 0xffff);
  const uint32_t upper = (uint32_t)(high_a * high_b + (first >> 16) + (second >> 16));
  return (int32_t)(upper << 1 | (uint32_t)(second >> 15 & 1));
#else
  return (int32_t)((int64_t)a * b >> 31);
#endif
}

// The product of two words, in fractions of 2^31. That of sixteen bits is exact.
KERNEL_INLINE int32_t fixed_product(int32_t a, int32_t b) {
#ifdef WORD_Q15
  return a * b * 2;
#else
  return fixed_long_product(a, b);
#endif
}

// The product of a long number and a word, in steps of the long number, cut to the step below. Sixteen bits take the two
// halves of the number one after the other.
KERNEL_INLINE int32_t fixed_share(int32_t x, int32_t word) {
#ifdef WORD_Q15
  return (x >> 16) * word * 2 + ((x & 0xffff) * word >> 15);
#else
  return fixed_long_product(x, word);
#endif
}

// A word as a long number, in fractions of 2^31.
KERNEL_INLINE int32_t fixed_lengthen(int32_t word) {
#ifdef WORD_Q15
  return word * 65536;
#else
  return word;
#endif
}

// A factor beyond full scale: a word from a half to one, and the places by which it is raised. Smaller factors are not.
typedef struct {
  int32_t fraction;
  int32_t raise;
} fixed_factor;

KERNEL_INLINE fixed_factor fixed_factor_of(float x) {
  int32_t raise = (int32_t)(kernel_bits(x) >> 23 & 0xff) - 126;
  raise = raise < 0 ? 0 : raise;
  return (fixed_factor){fixed_scaled(x, raise), raise};
}

// x 2^raise, held.
KERNEL_INLINE int32_t fixed_raise(int32_t x, int32_t raise) {
  const int32_t most = INT32_MAX >> raise;
  x = x > most ? most : x < -most ? -most : x;
  return (int32_t)((uint32_t)x << raise);
}

#endif
