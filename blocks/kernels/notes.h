// Notes as events carry them: in the lowest bit 1 where a key is struck and 0 where it is let go, as gates have it, above it
// the key in seven bits, 60 the middle C, and above the lowest byte how hard it was struck, 1 to 127. The numbers are those
// of MIDI 1.0 (from memory).
#ifndef NOTES_H
#define NOTES_H

#include "unheard.h"

KERNEL_INLINE uint32_t note_value(uint32_t struck, uint32_t key, uint32_t strength) {
  return struck | key << 1 | strength << 8;
}

KERNEL_INLINE uint32_t note_struck(uint32_t value) {
  return value & 1u;
}

KERNEL_INLINE uint32_t note_key(uint32_t value) {
  return value >> 1 & 0x7fu;
}

KERNEL_INLINE uint32_t note_strength(uint32_t value) {
  return value >> 8;
}

#endif
