// Delay line: y[n] = sum over k = 1..K of c_k w[n - k M / K], w[n] = x[n] + feedback w[n - M], M = time x sample rate,
// c_k = 1 / K. The line is read before it is written. A place between two samples is read by the nearest sample, by a
// straight line, or by the cubic through four samples whose slopes are those of their neighbours (Hermite; names after
// T. Laakso, V. Valimaki, M. Karjalainen and U. Laine, Splitting the Unit Delay, 1996).
#include "kernel.h"

#if !defined(INTERPOLATION_NONE) && !defined(INTERPOLATION_LINEAR) && !defined(INTERPOLATION_CUBIC)
#error "delay: define INTERPOLATION_NONE, INTERPOLATION_LINEAR or INTERPOLATION_CUBIC"
#endif
#if !defined(FORMAT_FLOAT32) && !defined(FORMAT_INT16)
#error "delay: define FORMAT_FLOAT32 or FORMAT_INT16"
#endif

// The youngest sample that a read may start from: the one of this moment is not yet known. The cubic also reads one
// younger than where it starts.
#ifdef INTERPOLATION_CUBIC
enum { delay_points = 4, delay_youngest = 2 };
#elif defined(INTERPOLATION_LINEAR)
enum { delay_points = 2, delay_youngest = 1 };
#else
enum { delay_points = 1, delay_youngest = 1 };
#endif

typedef struct {
  float time;     // seconds; at the start the longest that will be asked for
  float feedback; // ratio
  uint32_t taps;
} delay_params;

typedef struct {
  uint32_t offset; // words from the place of writing back to the first sample that is read
#ifndef INTERPOLATION_NONE
  float fraction; // of a sample, further back
#endif
  float gain;
} delay_tap;

typedef struct {
  kernel_sample *line; // channels interleaved
  uint32_t length;     // words
  uint32_t index;      // word of the first channel that is written next
  uint32_t taps;
  float feedback;
  delay_tap tap[]; // the last is the farthest
} delay_state;

uint32_t delay_state_bytes(const kernel_env *env, const delay_params *p) {
  (void)env;
  return sizeof(delay_state) + p->taps * sizeof(delay_tap);
}

// Words of the line. A time that is over a whole number of samples by less than two roundings of a float is whole.
static uint32_t delay_length(const kernel_env *env, const delay_params *p) {
  const float exact = p->time * env->sample_rate;
  uint32_t samples = (uint32_t)exact;
  if (exact - (float)samples > exact * 2.5e-7f)
    samples++;
  return (samples + delay_points - 1) * env->channels;
}

uint32_t delay_buffer_bytes(const kernel_env *env, const delay_params *p, uint32_t buffer) {
  (void)buffer;
  return delay_length(env, p) * sizeof(kernel_sample);
}

// Splits a distance in samples into an offset in words and a fraction.
KERNEL_INLINE uint32_t delay_split(real samples, uint32_t channels, real *fraction) {
#ifdef INTERPOLATION_NONE
  uint32_t whole = (uint32_t)(samples + (real)0.5);
#else
  uint32_t whole = (uint32_t)samples;
#endif
  *fraction = samples - (real)whole;
  if (whole < delay_youngest) {
    whole = delay_youngest;
    *fraction = 0;
  }
  return whole * channels;
}

KERNEL_INLINE void delay_place(delay_state *s, real samples, uint32_t channels) {
  const real spacing = samples / (real)s->taps;
  for (uint32_t k = 0; k < s->taps; k++) {
    real fraction;
    s->tap[k].offset = delay_split(spacing * (real)(k + 1), channels, &fraction);
#ifndef INTERPOLATION_NONE
    s->tap[k].fraction = (float)fraction;
#endif
  }
}

void delay_update_position(delay_state *s, const kernel_env *env, const delay_params *p) {
  delay_place(s, (real)p->time * env->sample_rate, env->channels);
}

void delay_start(delay_state *s, const kernel_env *env, const delay_params *p, void *const buffers[]) {
  s->line = buffers[0];
  s->length = delay_length(env, p);
  s->index = 0;
  s->taps = p->taps;
  s->feedback = p->feedback;
  for (uint32_t k = 0; k < p->taps; k++)
    s->tap[k].gain = 1.0f / (float)p->taps;
  delay_update_position(s, env, p);
}

// One sample older, round the end of the line.
KERNEL_INLINE uint32_t delay_older(uint32_t at, uint32_t length, uint32_t channels) {
  return at >= channels ? at - channels : at + length - channels;
}

// The line as it was an offset and a fraction before the place of writing.
KERNEL_INLINE real delay_read(const kernel_sample *line, uint32_t length, uint32_t channels, uint32_t index,
                              uint32_t offset, real fraction) {
#ifdef INTERPOLATION_CUBIC
  offset -= channels; // from one sample younger
#endif
  uint32_t at = index >= offset ? index - offset : index + length - offset;
#ifdef INTERPOLATION_CUBIC
  const real x0 = kernel_from_sample(line[at]);
  const real x1 = kernel_from_sample(line[at = delay_older(at, length, channels)]);
  const real x2 = kernel_from_sample(line[at = delay_older(at, length, channels)]);
  const real x3 = kernel_from_sample(line[delay_older(at, length, channels)]);
  const real slope = (x2 - x0) * (real)0.5;
  const real fall = x1 - x2;
  const real bend = slope + fall;
  const real twist = bend + fall + (x3 - x1) * (real)0.5;
  return ((twist * fraction - (bend + twist)) * fraction + slope) * fraction + x1;
#elif defined(INTERPOLATION_LINEAR)
  const real near = kernel_from_sample(line[at]);
  const real far = kernel_from_sample(line[delay_older(at, length, channels)]);
  return near + fraction * (far - near);
#else
  (void)channels, (void)fraction;
  return kernel_from_sample(line[at]);
#endif
}

KERNEL_INLINE real delay_fraction(const delay_tap *tap) {
#ifdef INTERPOLATION_NONE
  (void)tap;
  return 0;
#else
  return tap->fraction;
#endif
}

KERNEL_INLINE void delay_run(delay_state *s, const kernel_env *env, const float *const in[], float *const out[],
                             uint32_t n) {
  const uint32_t channels = env->channels, length = s->length, taps = s->taps;
  const real feedback = s->feedback;
#ifdef MOVED_TIME_AUDIO
  const float *time = in[channels];
  const real sample_rate = env->sample_rate;
#endif
  uint32_t index = s->index;
  for (uint32_t c = 0; c < channels; c++) {
    const float *x = in[c];
    float *y = out[c];
    kernel_sample *line = s->line + c;
    index = s->index;
    if (taps == 1) {
      uint32_t offset = s->tap[0].offset;
      real fraction = delay_fraction(&s->tap[0]);
      for (uint32_t i = 0; i < n; i++) {
#ifdef MOVED_TIME_AUDIO
        offset = delay_split(time[i] * sample_rate, channels, &fraction);
#endif
        const real echo = delay_read(line, length, channels, index, offset, fraction);
        line[index] = kernel_to_sample(x[i] + feedback * echo);
        y[i] = (float)echo;
        index += channels;
        if (index == length)
          index = 0;
      }
    } else {
      for (uint32_t i = 0; i < n; i++) {
#ifdef MOVED_TIME_AUDIO
        delay_place(s, time[i] * sample_rate, channels);
#endif
        real sum = 0, echo = 0;
        for (uint32_t k = 0; k < taps; k++) {
          const delay_tap *tap = &s->tap[k];
          echo = delay_read(line, length, channels, index, tap->offset, delay_fraction(tap));
          sum += tap->gain * echo;
        }
        line[index] = kernel_to_sample(x[i] + feedback * echo);
        y[i] = (float)sum;
        index += channels;
        if (index == length)
          index = 0;
      }
    }
  }
  s->index = index;
}
KERNEL_BLOCK(delay)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal, and so small that the sum of their echoes is too. A moved time wanders within the
// shortest line that is timed, and meets whole samples no more often in one block size than in another.
void delay_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  if (channel == KERNEL_MOVED) {
    kernel_ramp(x, n, costliest ? 0.00051f : 0.00101f, 0.0017f);
    return;
  }
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-40f : 0.5f);
}
#endif
