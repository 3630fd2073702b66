// Delay lines that are read between their samples, at a distance that changes from sample to sample, and the slow sway
// that changes it. A line holds its channels interleaved and is read before it is written.
#ifndef RING_H
#define RING_H

#include "kernel.h"

#if !defined(FORMAT_FLOAT32) && !defined(FORMAT_INT16)
#error "define FORMAT_FLOAT32 or FORMAT_INT16"
#endif

// Words of a line whose farthest read is a time away, with one more sample for the far end of a straight line. A time
// that is over a whole number of samples by less than two roundings of a float is whole.
static inline uint32_t ring_length(const kernel_env *env, float time) {
  const float exact = time * env->sample_rate;
  uint32_t samples = (uint32_t)exact;
  if (exact - (float)samples > exact * 2.5e-7f)
    samples++;
  return (samples + 1) * env->channels;
}

// The channel of a line that it points to, on a straight line between two samples. The distance counts from one sample
// before the word that is written next, which is the youngest that there is.
KERNEL_INLINE real ring_read(const kernel_sample *line, uint32_t length, uint32_t channels, uint32_t index,
                             real distance) {
  const uint32_t whole = (uint32_t)distance;
  const uint32_t back = (whole + 1) * channels;
  const uint32_t at = index >= back ? index - back : index + length - back;
  const uint32_t older = at >= channels ? at - channels : at + length - channels;
  const real near = kernel_from_sample(line[at]);
  const real far = kernel_from_sample(line[older]);
  return near + (distance - (real)whole) * (far - near);
}

// A sway between -0.25 and 0.25, a parabola for each half of a turn; 2^32 are a turn.
KERNEL_INLINE real ring_sway(uint32_t phase) {
  const real p = (real)(int32_t)phase * (real)(1.0 / 2147483648.0);
  return p * (1 - kernel_abs(p));
}

// Where the first sway starts, apart from what its turning points and crossings make exact.
static const uint32_t ring_first_phase = 0x1c71c71cu;

// A quarter of a turn, by which the second channel sways later than the first, so that a stereo picture opens.
static const uint32_t ring_channel_phase = 0x40000000u;

static inline uint32_t ring_step(const kernel_env *env, float frequency) {
  return (uint32_t)((real)frequency * ((real)4294967296.0 / env->sample_rate));
}

// Middle and four times the reach of a distance that sways from a time to a depth farther, in samples from the youngest.
typedef struct {
  float middle, reach;
} ring_sweep;

static inline ring_sweep ring_sweep_of(const kernel_env *env, float time, float depth) {
  const real half = (real)depth * env->sample_rate * (real)0.5;
  return (ring_sweep){(float)((real)time * env->sample_rate - 1 + half), (float)(half * 4)};
}

#endif
