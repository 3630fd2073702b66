// Delay line in fixed point: y[n] = 1/K sum over k = 1..K of w[n - k M / K], w[n] = x[n] + feedback w[n - M], M = time x
// sample rate. Sums and products have thirty-two bits whatever the line; what is written into a line of sixteen is rounded
// to the nearest, and held at full scale. The line is read before it is written. A place between two samples is read by
// the nearest sample or by a straight line (names after T. Laakso, V. Valimaki, M. Karjalainen and U. Laine, Splitting the
// Unit Delay, 1996).
#define WORD_Q31
#include "fixed.h"
#include "fixed-sum.h"

#if !defined(INTERPOLATION_NONE) && !defined(INTERPOLATION_LINEAR)
#error "fixed-delay: define INTERPOLATION_NONE or INTERPOLATION_LINEAR"
#endif
#if !defined(FORMAT_Q15) && !defined(FORMAT_Q31)
#error "fixed-delay: define FORMAT_Q15 or FORMAT_Q31"
#endif

#ifdef FORMAT_Q15
typedef int16_t fixed_delay_word;
#else
typedef int32_t fixed_delay_word;
#endif

#ifdef INTERPOLATION_LINEAR
enum { fixed_delay_points = 2 };
#else
enum { fixed_delay_points = 1 };
#endif

typedef struct {
  float time;     // seconds; at the start the longest that will be asked for
  float feedback; // ratio, -1 to 1
  uint32_t taps;
} fixed_delay_params;

typedef struct {
  uint32_t offset; // words from the place of writing back to the first sample that is read
#ifdef INTERPOLATION_LINEAR
  int32_t fraction; // of a sample, further back, in fractions of 2^15 or 2^31 as the line
#endif
} fixed_delay_tap;

typedef struct {
  fixed_delay_word *line; // channels interleaved
  uint32_t length;          // words
  uint32_t index;           // word of the first channel that is written next
  uint32_t taps;
  int32_t share; // of one tap in the sum
  int32_t feedback;
  fixed_delay_tap tap[]; // the last is the farthest
} fixed_delay_state;

uint32_t fixed_delay_state_bytes(const kernel_env *env, const fixed_delay_params *p) {
  (void)env;
  return sizeof(fixed_delay_state) + p->taps * sizeof(fixed_delay_tap);
}

// Words of the line. A time that is over a whole number of samples by less than two roundings of a float is whole.
static uint32_t fixed_delay_length(const kernel_env *env, const fixed_delay_params *p) {
  const float exact = p->time * env->sample_rate;
  uint32_t samples = (uint32_t)exact;
  if (exact - (float)samples > exact * 2.5e-7f)
    samples++;
  return (samples + fixed_delay_points - 1) * env->channels;
}

uint32_t fixed_delay_buffer_bytes(const kernel_env *env, const fixed_delay_params *p, uint32_t buffer) {
  (void)buffer;
  return fixed_delay_length(env, p) * sizeof(fixed_delay_word);
}

void fixed_delay_update_position(fixed_delay_state *s, const kernel_env *env, const fixed_delay_params *p) {
  const real spacing = (real)p->time * env->sample_rate / (real)s->taps;
  for (uint32_t k = 0; k < s->taps; k++) {
    const real samples = spacing * (real)(k + 1);
    fixed_delay_tap *tap = &s->tap[k];
#ifdef INTERPOLATION_LINEAR
    uint32_t whole = (uint32_t)samples;
    tap->fraction = fixed_from_float((float)(samples - (real)whole));
#ifdef FORMAT_Q15
    tap->fraction >>= 16;
#endif
    // The sample of this moment is not yet known.
    if (whole < 1) {
      whole = 1;
      tap->fraction = 0;
    }
#else
    uint32_t whole = (uint32_t)(samples + (real)0.5);
    whole = whole < 1 ? 1 : whole;
#endif
    tap->offset = whole * env->channels;
  }
}

void fixed_delay_update_feedback(fixed_delay_state *s, const kernel_env *env, const fixed_delay_params *p) {
  (void)env;
  s->feedback = fixed_from_float(p->feedback);
}

void fixed_delay_start(fixed_delay_state *s, const kernel_env *env, const fixed_delay_params *p, void *const buffers[]) {
  s->line = buffers[0];
  s->length = fixed_delay_length(env, p);
  s->index = 0;
  s->taps = p->taps;
  s->share = (int32_t)(INT32_MAX / p->taps); // so that a sum of taps never overflows
  fixed_delay_update_feedback(s, env, p);
  fixed_delay_update_position(s, env, p);
}

// The line as it was an offset and a fraction before the place of writing, in fractions of 2^31.
KERNEL_INLINE int32_t fixed_delay_read(const fixed_delay_word *line, uint32_t length, uint32_t channels,
                                       uint32_t index, const fixed_delay_tap *tap) {
  const uint32_t at = index >= tap->offset ? index - tap->offset : index + length - tap->offset;
  const int32_t near = line[at];
#ifdef INTERPOLATION_LINEAR
  const int32_t far = line[at >= channels ? at - channels : at + length - channels];
#ifdef FORMAT_Q15
  // Exact: what overflows on the way comes back, since the end lies between the two samples.
  return (int32_t)(((uint32_t)near << 16) + ((uint32_t)((far - near) * tap->fraction) << 1));
#else
  return near + 2 * fixed_long_product((far >> 1) - (near >> 1), tap->fraction);
#endif
#else
  (void)channels;
#ifdef FORMAT_Q15
  return near * 65536;
#else
  return near;
#endif
#endif
}

KERNEL_INLINE fixed_delay_word fixed_delay_written(int32_t x) {
#ifdef FORMAT_Q15
  return (fixed_delay_word)(fixed_sum(x, 0x8000) >> 16);
#else
  return x;
#endif
}

KERNEL_INLINE void fixed_delay_run(fixed_delay_state *s, const kernel_env *env, const float *const in[],
                                   float *const out[], uint32_t n) {
  const uint32_t channels = env->channels, length = s->length, taps = s->taps;
  const int32_t feedback = s->feedback, share = s->share;
  uint32_t index = s->index;
  for (uint32_t c = 0; c < channels; c++) {
    const float *x = in[c];
    float *y = out[c];
    fixed_delay_word *line = s->line + c;
    index = s->index;
    for (uint32_t i = 0; i < n; i++) {
      int32_t echo = 0, sum = 0;
      if (taps == 1) {
        sum = echo = fixed_delay_read(line, length, channels, index, &s->tap[0]);
      } else {
        for (uint32_t k = 0; k < taps; k++) {
          echo = fixed_delay_read(line, length, channels, index, &s->tap[k]);
          sum += fixed_long_product(echo, share);
        }
      }
      line[index] = fixed_delay_written(fixed_sum(fixed_from_float(x[i]), fixed_long_product(echo, feedback)));
      y[i] = fixed_to_float(sum);
      index += channels;
      if (index == length)
        index = 0;
    }
  }
  s->index = index;
}
KERNEL_BLOCK(fixed_delay)

#ifdef KERNEL_STIMULI
// Softer samples shift more places. None is near silence, and of one sign after the other, so that a sum is not either.
void fixed_delay_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = (kernel_noise(&seed) + 2) * (costliest ? 0.001f : 0.1f);
}
#endif
