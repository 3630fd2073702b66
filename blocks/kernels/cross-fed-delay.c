// Cross-fed stereo delay: yL[n] = wL[n - ML], yR[n] = wR[n - MR], wL[n] = xL[n] + feedback yR[n],
// wR[n] = xR[n] + feedback yL[n], M = time x sample rate. Both lines are read before they are written. A place between
// two samples is read as in delay.c.
#include "kernel.h"

#if !defined(INTERPOLATION_NONE) && !defined(INTERPOLATION_LINEAR) && !defined(INTERPOLATION_CUBIC)
#error "cross-fed-delay: define INTERPOLATION_NONE, INTERPOLATION_LINEAR or INTERPOLATION_CUBIC"
#endif
#if !defined(FORMAT_FLOAT32) && !defined(FORMAT_INT16)
#error "cross-fed-delay: define FORMAT_FLOAT32 or FORMAT_INT16"
#endif

// The youngest sample that a read may start from: the one of this moment is not yet known. The cubic also reads one
// younger than where it starts.
#ifdef INTERPOLATION_CUBIC
enum { cross_fed_delay_points = 4, cross_fed_delay_youngest = 2 };
#elif defined(INTERPOLATION_LINEAR)
enum { cross_fed_delay_points = 2, cross_fed_delay_youngest = 1 };
#else
enum { cross_fed_delay_points = 1, cross_fed_delay_youngest = 1 };
#endif

typedef struct {
  float time_left, time_right; // seconds; at the start the longest that will be asked for
  float feedback;              // ratio
} cross_fed_delay_params;

typedef struct {
  kernel_sample *samples;
  uint32_t length;
  uint32_t index;  // written next
  uint32_t offset; // from there back to the first sample that is read
  float fraction;  // of a sample, further back
} cross_fed_delay_line;

typedef struct {
  float feedback;
  cross_fed_delay_line left, right;
} cross_fed_delay_state;

uint32_t cross_fed_delay_state_bytes(const kernel_env *env, const cross_fed_delay_params *p) {
  (void)env, (void)p;
  return sizeof(cross_fed_delay_state);
}

// Samples in a line. A time that is over a whole number of samples by less than two roundings of a float is whole.
static uint32_t cross_fed_delay_length(const kernel_env *env, float time) {
  const float exact = time * env->sample_rate;
  uint32_t samples = (uint32_t)exact;
  if (exact - (float)samples > exact * 2.5e-7f)
    samples++;
  return samples + cross_fed_delay_points - 1;
}

uint32_t cross_fed_delay_buffer_bytes(const kernel_env *env, const cross_fed_delay_params *p, uint32_t buffer) {
  return cross_fed_delay_length(env, buffer == 0 ? p->time_left : p->time_right) * sizeof(kernel_sample);
}

// Splits a distance in samples into an offset and a fraction.
KERNEL_INLINE uint32_t cross_fed_delay_split(real samples, real *fraction) {
#ifdef INTERPOLATION_NONE
  uint32_t whole = (uint32_t)(samples + (real)0.5);
#else
  uint32_t whole = (uint32_t)samples;
#endif
  *fraction = samples - (real)whole;
  if (whole < cross_fed_delay_youngest) {
    whole = cross_fed_delay_youngest;
    *fraction = 0;
  }
  return whole;
}

KERNEL_INLINE void cross_fed_delay_place(cross_fed_delay_line *line, real samples) {
  real fraction;
  line->offset = cross_fed_delay_split(samples, &fraction);
  line->fraction = (float)fraction;
}

void cross_fed_delay_update_left_position(cross_fed_delay_state *s, const kernel_env *env,
                                          const cross_fed_delay_params *p) {
  cross_fed_delay_place(&s->left, (real)p->time_left * env->sample_rate);
}

void cross_fed_delay_update_right_position(cross_fed_delay_state *s, const kernel_env *env,
                                           const cross_fed_delay_params *p) {
  cross_fed_delay_place(&s->right, (real)p->time_right * env->sample_rate);
}

void cross_fed_delay_start(cross_fed_delay_state *s, const kernel_env *env, const cross_fed_delay_params *p,
                           void *const buffers[]) {
  s->feedback = p->feedback;
  s->left = (cross_fed_delay_line){.samples = buffers[0], .length = cross_fed_delay_length(env, p->time_left)};
  s->right = (cross_fed_delay_line){.samples = buffers[1], .length = cross_fed_delay_length(env, p->time_right)};
  cross_fed_delay_update_left_position(s, env, p);
  cross_fed_delay_update_right_position(s, env, p);
}

// One sample older, round the end of the line.
KERNEL_INLINE uint32_t cross_fed_delay_older(uint32_t at, uint32_t length) {
  return at >= 1 ? at - 1 : length - 1;
}

// The line as it was an offset and a fraction before the place of writing.
KERNEL_INLINE real cross_fed_delay_read(const cross_fed_delay_line *line, real fraction) {
  uint32_t offset = line->offset;
#ifdef INTERPOLATION_CUBIC
  offset -= 1; // from one sample younger
#endif
  uint32_t at = line->index >= offset ? line->index - offset : line->index + line->length - offset;
#ifdef INTERPOLATION_CUBIC
  const real x0 = kernel_from_sample(line->samples[at]);
  const real x1 = kernel_from_sample(line->samples[at = cross_fed_delay_older(at, line->length)]);
  const real x2 = kernel_from_sample(line->samples[at = cross_fed_delay_older(at, line->length)]);
  const real x3 = kernel_from_sample(line->samples[cross_fed_delay_older(at, line->length)]);
  const real slope = (x2 - x0) * (real)0.5;
  const real fall = x1 - x2;
  const real bend = slope + fall;
  const real twist = bend + fall + (x3 - x1) * (real)0.5;
  return ((twist * fraction - (bend + twist)) * fraction + slope) * fraction + x1;
#elif defined(INTERPOLATION_LINEAR)
  const real near = kernel_from_sample(line->samples[at]);
  const real far = kernel_from_sample(line->samples[cross_fed_delay_older(at, line->length)]);
  return near + fraction * (far - near);
#else
  (void)fraction;
  return kernel_from_sample(line->samples[at]);
#endif
}

KERNEL_INLINE void cross_fed_delay_write(cross_fed_delay_line *line, real x) {
  line->samples[line->index] = kernel_to_sample(x);
  if (++line->index == line->length)
    line->index = 0;
}

KERNEL_INLINE void cross_fed_delay_run(cross_fed_delay_state *s, const kernel_env *env, const float *const in[],
                                       float *const out[], uint32_t n) {
  const float *left_in = in[0], *right_in = in[1];
  float *left_out = out[0], *right_out = out[1];
  const real feedback = s->feedback;
  cross_fed_delay_line left = s->left, right = s->right;
  real left_fraction = left.fraction, right_fraction = right.fraction;
#if defined(MOVED_TIME_LEFT_AUDIO) || defined(MOVED_TIME_RIGHT_AUDIO)
  const float *time = in[2];
  const real sample_rate = env->sample_rate;
#else
  (void)env;
#endif
  for (uint32_t i = 0; i < n; i++) {
#ifdef MOVED_TIME_LEFT_AUDIO
    left.offset = cross_fed_delay_split(time[i] * sample_rate, &left_fraction);
#elif defined(MOVED_TIME_RIGHT_AUDIO)
    right.offset = cross_fed_delay_split(time[i] * sample_rate, &right_fraction);
#endif
    const real left_echo = cross_fed_delay_read(&left, left_fraction);
    const real right_echo = cross_fed_delay_read(&right, right_fraction);
    cross_fed_delay_write(&left, left_in[i] + feedback * right_echo);
    cross_fed_delay_write(&right, right_in[i] + feedback * left_echo);
    left_out[i] = (float)left_echo;
    right_out[i] = (float)right_echo;
  }
  s->left.index = left.index;
  s->right.index = right.index;
}
KERNEL_BLOCK(cross_fed_delay)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal, and so small that the sum of their echoes is too. A moved time wanders within the
// shortest line that is timed.
void cross_fed_delay_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  if (channel == KERNEL_MOVED) {
    kernel_ramp(x, n, costliest ? 0.00051f : 0.00101f, 0.0017f);
    return;
  }
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-40f : 0.5f);
}
#endif
