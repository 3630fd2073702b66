// Rooms of nested allpasses within one loop: an allpass of gain g round a line of M samples and what is nested in it, A, is
// u[n] = A(v[n - M]), v[n] = x[n] + g u[n], y[n] = u[n] - g v[n]; ROOM_SMALL, ROOM_MEDIUM and ROOM_LARGE below are the
// three networks (W.G. Gardner, The Virtual Acoustic Room, thesis, MIT Media Lab, 1992, Fig. 4.11). The loop is closed
// by f[n] = (1 - p) e[n] + p f[n - 1], p = exp(-2 pi corner / sample rate), and by a gain for the decay: once round takes
// L seconds in the mean over all tones, an allpass turning as much as its lines are long, so 10^(-3 L / decay) in all.
// x is the mean of the input's channels.
#include "kernel.h"

#if !defined(ROOM_SMALL) && !defined(ROOM_MEDIUM) && !defined(ROOM_LARGE)
#error "nested-allpass-reverb: define ROOM_SMALL, ROOM_MEDIUM or ROOM_LARGE"
#endif
#if !defined(FORMAT_FLOAT32) && !defined(FORMAT_INT16)
#error "nested-allpass-reverb: define FORMAT_FLOAT32 or FORMAT_INT16"
#endif

// Milliseconds of the lines, those of an allpass before what is nested in it; corner of the lowpass in hertz; seconds
// once round, over the gains on the way; the first of its buffers.
#ifdef ROOM_SMALL
static const float nested_allpass_reverb_lines[] = {24, 4.7f, 22, 8.3f, 36, 30};
static const real nested_allpass_reverb_corner = 4200, nested_allpass_reverb_round = (real)0.125;
enum { nested_allpass_reverb_first = 0 };
#elif defined(ROOM_MEDIUM)
static const float nested_allpass_reverb_lines[] = {4.7f, 8.3f, 22, 5, 30, 67, 15, 29.2f, 9.8f, 108};
static const real nested_allpass_reverb_corner = 2500, nested_allpass_reverb_round = (real)(0.299 / 2);
enum { nested_allpass_reverb_first = 6 };
#else
static const float nested_allpass_reverb_lines[] = {8, 12, 4, 17, 25, 62, 31, 3, 14, 76, 30};
static const real nested_allpass_reverb_corner = 2600, nested_allpass_reverb_round = (real)0.282;
enum { nested_allpass_reverb_first = 16 };
#endif
enum { nested_allpass_reverb_count = sizeof nested_allpass_reverb_lines / sizeof nested_allpass_reverb_lines[0] };

typedef struct {
  float decay; // seconds to -60 dB
} nested_allpass_reverb_params;

typedef struct {
  kernel_sample *samples;
  uint32_t length;
  uint32_t index; // read and written next
} nested_allpass_reverb_line;

typedef struct {
  nested_allpass_reverb_line line[nested_allpass_reverb_count];
  float pole, rest; // p and 1 - p
  float memory;     // f
  float gain;
  float input_scale; // one over the number of channels
} nested_allpass_reverb_state;

uint32_t nested_allpass_reverb_state_bytes(const kernel_env *env, const nested_allpass_reverb_params *p) {
  (void)env, (void)p;
  return sizeof(nested_allpass_reverb_state);
}

static uint32_t nested_allpass_reverb_length(const kernel_env *env, uint32_t line) {
  return (uint32_t)(nested_allpass_reverb_lines[line] * env->sample_rate / 1000.0f + 0.5f);
}

// The buffers are the lines of every room, one room after another.
uint32_t nested_allpass_reverb_buffer_bytes(const kernel_env *env, const nested_allpass_reverb_params *p,
                                            uint32_t buffer) {
  (void)p;
  const uint32_t line = buffer - nested_allpass_reverb_first;
  return line < nested_allpass_reverb_count ? nested_allpass_reverb_length(env, line) * sizeof(kernel_sample) : 0;
}

void nested_allpass_reverb_update_gain(nested_allpass_reverb_state *s, const kernel_env *env,
                                       const nested_allpass_reverb_params *p) {
  (void)env;
  s->gain = (float)kernel_exp2((real)-9.96578428466 * nested_allpass_reverb_round / p->decay); // -3 log2(10)
}

void nested_allpass_reverb_start(nested_allpass_reverb_state *s, const kernel_env *env,
                                 const nested_allpass_reverb_params *p, void *const buffers[]) {
  for (uint32_t k = 0; k < nested_allpass_reverb_count; k++)
    s->line[k] = (nested_allpass_reverb_line){buffers[nested_allpass_reverb_first + k],
                                              nested_allpass_reverb_length(env, k), 0};
  const real pole = kernel_exp(-2 * kernel_pi * nested_allpass_reverb_corner / env->sample_rate);
  s->pole = (float)pole;
  s->rest = (float)(1 - pole);
  s->memory = 0;
  s->input_scale = 1.0f / (float)env->channels;
  nested_allpass_reverb_update_gain(s, env, p);
}

KERNEL_INLINE real nested_allpass_reverb_oldest(const nested_allpass_reverb_line *line) {
  return kernel_from_sample(line->samples[line->index]);
}

// Writes the newest sample where the oldest was read.
KERNEL_INLINE void nested_allpass_reverb_write(nested_allpass_reverb_line *line, real newest) {
  uint32_t index = line->index;
  line->samples[index] = kernel_to_sample(newest);
  if (++index == line->length)
    index = 0;
  line->index = index;
}

KERNEL_INLINE real nested_allpass_reverb_late(nested_allpass_reverb_line *line, real x) {
  const real oldest = nested_allpass_reverb_oldest(line);
  nested_allpass_reverb_write(line, x);
  return oldest;
}

// An allpass whose line and what is nested in it have given `inner`.
KERNEL_INLINE real nested_allpass_reverb_around(nested_allpass_reverb_line *line, real x, real inner, real gain) {
  const real newest = x + gain * inner;
  nested_allpass_reverb_write(line, newest);
  return inner - gain * newest;
}

KERNEL_INLINE real nested_allpass_reverb_allpass(nested_allpass_reverb_line *line, real x, real gain) {
  return nested_allpass_reverb_around(line, x, nested_allpass_reverb_oldest(line), gain);
}

// An allpass with one and with two in it, in lines that follow one another.
KERNEL_INLINE real nested_allpass_reverb_one(nested_allpass_reverb_line *line, real x, real gain, real first) {
  const real inner = nested_allpass_reverb_allpass(line + 1, nested_allpass_reverb_oldest(line), first);
  return nested_allpass_reverb_around(line, x, inner, gain);
}

KERNEL_INLINE real nested_allpass_reverb_two(nested_allpass_reverb_line *line, real x, real gain, real first,
                                             real second) {
  const real inner = nested_allpass_reverb_allpass(line + 1, nested_allpass_reverb_oldest(line), first);
  return nested_allpass_reverb_around(line, x, nested_allpass_reverb_allpass(line + 2, inner, second), gain);
}

// What comes back into the loop from its end.
KERNEL_INLINE real nested_allpass_reverb_back(nested_allpass_reverb_state *s, real end) {
  const real damped = s->rest * end + s->pole * s->memory;
  s->memory = (float)damped;
  return s->gain * damped;
}

KERNEL_INLINE void nested_allpass_reverb_run(nested_allpass_reverb_state *s, const kernel_env *env,
                                             const float *const in[], float *const out[], uint32_t n) {
  const uint32_t channels = env->channels;
  const real input_scale = s->input_scale;
  nested_allpass_reverb_line *line = s->line;
  float *y = out[0];
  for (uint32_t i = 0; i < n; i++) {
    real x = in[0][i];
    for (uint32_t c = 1; c < channels; c++)
      x += in[c][i];
    x *= input_scale;
#ifdef ROOM_SMALL
    const real near = nested_allpass_reverb_two(&line[1], nested_allpass_reverb_oldest(&line[0]), (real)0.3, (real)0.4,
                                                (real)0.6);
    const real far = nested_allpass_reverb_one(&line[4], near, (real)0.1, (real)0.4);
    nested_allpass_reverb_write(&line[0], x + nested_allpass_reverb_back(s, far));
    y[i] = (float)((real)0.5 * near + (real)0.5 * far);
#elif defined(ROOM_MEDIUM)
    const real back = nested_allpass_reverb_back(s, nested_allpass_reverb_oldest(&line[9]));
    const real near = nested_allpass_reverb_two(&line[0], x + back, (real)0.3, (real)0.7, (real)0.5);
    const real smeared =
        nested_allpass_reverb_allpass(&line[4], nested_allpass_reverb_late(&line[3], near), (real)0.5);
    const real middle = nested_allpass_reverb_late(&line[5], smeared);
    const real half_way = s->gain * nested_allpass_reverb_late(&line[6], middle);
    const real far = nested_allpass_reverb_one(&line[7], x + half_way, (real)0.3, (real)0.6);
    nested_allpass_reverb_write(&line[9], far);
    y[i] = (float)((real)0.5 * near + (real)0.5 * middle + (real)0.5 * far);
#else
    const real far = nested_allpass_reverb_two(&line[8], nested_allpass_reverb_oldest(&line[7]), (real)0.5, (real)0.25,
                                               (real)0.25);
    const real smeared =
        nested_allpass_reverb_allpass(&line[0], x + nested_allpass_reverb_back(s, far), (real)0.3);
    const real near =
        nested_allpass_reverb_late(&line[2], nested_allpass_reverb_allpass(&line[1], smeared, (real)0.3));
    const real mixed = nested_allpass_reverb_one(&line[4], nested_allpass_reverb_late(&line[3], near), (real)0.5,
                                                 (real)0.25);
    const real middle = nested_allpass_reverb_late(&line[6], mixed);
    nested_allpass_reverb_write(&line[7], middle);
    y[i] = (float)((real)0.34 * near + (real)0.14 * middle + (real)0.14 * far);
#endif
  }
}
KERNEL_BLOCK(nested_allpass_reverb)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal.
void nested_allpass_reverb_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-38f : 0.1f);
}
#endif
