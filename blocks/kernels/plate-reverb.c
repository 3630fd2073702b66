// Plate: a = bandwidth filter of the predelayed mean of the input's channels, through four allpasses. Each half of the
// tank: u = allpass(a + decay gain x other half, length + excursion), d = delay(u),
// l[n] = (1 - damping) d[n] + damping l[n - 1], out = delay(allpass(decay gain x l)). yL and yR are 0.6 x signed sums
// of seven taps each. Allpass: v[n] = x[n] + g v[n - M], y[n] = v[n - M] - g v[n]; g of the moving ones has the opposite
// sign of all the others. The decay gain is 10^(-3 x 0.7254 s x size / (4 decay)) for tank delays of 0.7254 s (J.
// Dattorro, Effect Design, Part 1, Reverberator and Other Filters, J. Audio Eng. Soc. 45(9) 660-684, 1997; which of the
// two signs is which from memory). The size multiplies all lengths and taps but the predelay's; the excursion stays, and
// with it the bend in pitch. The moving allpasses follow a sine and a cosine of 1 Hz that turn once a call; a place
// between two samples is read as in delay.c.
#include "kernel.h"

#if !defined(INTERPOLATION_NONE) && !defined(INTERPOLATION_LINEAR) && !defined(INTERPOLATION_CUBIC)
#error "plate-reverb: define INTERPOLATION_NONE, INTERPOLATION_LINEAR or INTERPOLATION_CUBIC"
#endif
#if !defined(FORMAT_FLOAT32) && !defined(FORMAT_INT16)
#error "plate-reverb: define FORMAT_FLOAT32 or FORMAT_INT16"
#endif

enum { plate_reverb_diffusers = 4, plate_reverb_taps = 7, plate_reverb_buffers = 13 };

typedef struct {
  float decay;     // seconds to -60 dB
  float damping;   // ratio
  float bandwidth; // ratio
  float size;      // ratio to the lengths of the design
  float predelay;  // seconds
} plate_reverb_params;

typedef struct {
  kernel_sample *samples;
  uint32_t length;
  uint32_t index; // written next
} plate_reverb_line;

typedef struct {
  plate_reverb_line moving, first, allpass, second;
  uint32_t rest;                   // samples that the moving allpass delays by where the sine is 0
  float damped;                    // l
  uint32_t tap[plate_reverb_taps]; // of the output on this side, samples before the place of writing
} plate_reverb_half;

typedef struct {
  plate_reverb_line predelay; // length 0: none
  plate_reverb_line diffuser[plate_reverb_diffusers];
  plate_reverb_half half[2];
  float band; // memory of the input filter
  float input_scale, bandwidth, bandwidth_complement;
  float decay_gain, decay_diffusion, damping, damping_complement;
  float sine, cosine; // in samples of excursion
  float turn;         // radians a call
} plate_reverb_state;

uint32_t plate_reverb_state_bytes(const kernel_env *env, const plate_reverb_params *p) {
  (void)env, (void)p;
  return sizeof(plate_reverb_state);
}

// Samples at 29761 Hz, scaled to the nearest.
static uint32_t plate_reverb_samples(const kernel_env *env, float at_design_rate) {
  return (uint32_t)(at_design_rate * env->sample_rate / 29761.0f + 0.5f);
}

// The buffers are the four diffusers, then a left and a right of moving allpasses, first delays, allpasses and second
// delays, then the predelay.
static float plate_reverb_design_length(uint32_t buffer) {
  static const float lengths[plate_reverb_buffers - 1] = {142,  107,  379,  277,  672,  908,
                                                          4453, 4217, 1800, 2656, 3720, 3163};
  return lengths[buffer];
}

static uint32_t plate_reverb_length(const kernel_env *env, const plate_reverb_params *p, uint32_t buffer) {
  if (buffer == plate_reverb_buffers - 1) {
    // A time that is over a whole number of samples by less than two roundings of a float is whole.
    const float exact = p->predelay * env->sample_rate;
    const uint32_t samples = (uint32_t)exact;
    return exact - (float)samples > exact * 2.5e-7f ? samples + 1 : samples;
  }
  // The excursion is 8 samples to either side.
  const uint32_t excursion = buffer == 4 || buffer == 5 ? plate_reverb_samples(env, 16) : 0;
  return plate_reverb_samples(env, plate_reverb_design_length(buffer) * p->size) + excursion;
}

uint32_t plate_reverb_buffer_bytes(const kernel_env *env, const plate_reverb_params *p, uint32_t buffer) {
  return plate_reverb_length(env, p, buffer) * sizeof(kernel_sample);
}

void plate_reverb_update_loop_gain(plate_reverb_state *s, const kernel_env *env, const plate_reverb_params *p) {
  (void)env;
  const real gain = kernel_exp2((real)(-9.96578428466 * 0.7254 / 4) * p->size / p->decay); // -3 log2(10)
  const real diffusion = gain + (real)0.15;
  s->decay_gain = (float)gain;
  s->decay_diffusion = (float)(diffusion < (real)0.25 ? (real)0.25 : diffusion > (real)0.5 ? (real)0.5 : diffusion);
}

void plate_reverb_update_damping_filters(plate_reverb_state *s, const kernel_env *env, const plate_reverb_params *p) {
  (void)env;
  s->damping = p->damping;
  s->damping_complement = (float)(1 - (real)p->damping);
}

void plate_reverb_update_input_filter(plate_reverb_state *s, const kernel_env *env, const plate_reverb_params *p) {
  (void)env;
  s->bandwidth = p->bandwidth;
  s->bandwidth_complement = (float)(1 - (real)p->bandwidth);
}

static plate_reverb_line plate_reverb_line_of(const kernel_env *env, const plate_reverb_params *p,
                                              void *const buffers[], uint32_t buffer) {
  return (plate_reverb_line){.samples = buffers[buffer], .length = plate_reverb_length(env, p, buffer)};
}

void plate_reverb_start(plate_reverb_state *s, const kernel_env *env, const plate_reverb_params *p,
                        void *const buffers[]) {
  // Of each output: two taps of the other half's first delay, its allpass and its second delay; own first delay, own
  // allpass, own second delay.
  static const float taps[2][plate_reverb_taps] = {{266, 2974, 1913, 1996, 1990, 187, 1066},
                                                   {353, 3627, 1228, 2673, 2111, 335, 121}};
  for (uint32_t k = 0; k < plate_reverb_diffusers; k++)
    s->diffuser[k] = plate_reverb_line_of(env, p, buffers, k);
  for (uint32_t h = 0; h < 2; h++) {
    plate_reverb_half *half = &s->half[h];
    half->moving = plate_reverb_line_of(env, p, buffers, 4 + h);
    half->first = plate_reverb_line_of(env, p, buffers, 6 + h);
    half->allpass = plate_reverb_line_of(env, p, buffers, 8 + h);
    half->second = plate_reverb_line_of(env, p, buffers, 10 + h);
    half->rest = plate_reverb_samples(env, plate_reverb_design_length(4 + h) * p->size);
    half->damped = 0;
    for (uint32_t k = 0; k < plate_reverb_taps; k++)
      half->tap[k] = plate_reverb_samples(env, taps[h][k] * p->size);
  }
  s->predelay = plate_reverb_line_of(env, p, buffers, plate_reverb_buffers - 1);
  s->band = 0;
  s->input_scale = 1.0f / (float)env->channels;
  s->sine = 0;
  s->cosine = 8.0f * env->sample_rate / 29761.0f;
#ifdef ONE_SAMPLE
  s->turn = 2.0f * (float)kernel_pi / env->sample_rate;
#else
  s->turn = 2.0f * (float)kernel_pi / env->sample_rate * (float)env->block_size;
#endif
  plate_reverb_update_loop_gain(s, env, p);
  plate_reverb_update_damping_filters(s, env, p);
  plate_reverb_update_input_filter(s, env, p);
}

// The sample that was written as many samples ago as the line is long.
KERNEL_INLINE real plate_reverb_oldest(const plate_reverb_line *line) {
  return kernel_from_sample(line->samples[line->index]);
}

KERNEL_INLINE uint32_t plate_reverb_at(const plate_reverb_line *line, uint32_t offset) {
  const uint32_t index = line->index;
  return index >= offset ? index - offset : index + line->length - offset;
}

KERNEL_INLINE real plate_reverb_tap(const plate_reverb_line *line, uint32_t offset) {
  return kernel_from_sample(line->samples[plate_reverb_at(line, offset)]);
}

KERNEL_INLINE void plate_reverb_write(plate_reverb_line *line, real newest) {
  uint32_t index = line->index;
  line->samples[index] = kernel_to_sample(newest);
  if (++index == line->length)
    index = 0;
  line->index = index;
}

// What an allpass gives for x where its delayed memory is v[n - M].
KERNEL_INLINE real plate_reverb_diffuse(plate_reverb_line *line, real x, real gain, real delayed) {
  const real newest = x + gain * delayed;
  plate_reverb_write(line, newest);
  return delayed - gain * newest;
}

// A distance in samples, split for reading. The cubic starts one sample younger.
typedef struct {
  uint32_t offset;
  real fraction;
} plate_reverb_place;

KERNEL_INLINE plate_reverb_place plate_reverb_split(real samples) {
#ifdef INTERPOLATION_NONE
  return (plate_reverb_place){(uint32_t)(samples + (real)0.5), 0};
#else
  const uint32_t whole = (uint32_t)samples;
#ifdef INTERPOLATION_CUBIC
  return (plate_reverb_place){whole - 1, samples - (real)whole};
#else
  return (plate_reverb_place){whole, samples - (real)whole};
#endif
#endif
}

// One sample older, round the end of the line.
KERNEL_INLINE uint32_t plate_reverb_older(const plate_reverb_line *line, uint32_t at) {
  return at >= 1 ? at - 1 : line->length - 1;
}

KERNEL_INLINE real plate_reverb_between(const plate_reverb_line *line, plate_reverb_place place) {
  uint32_t at = plate_reverb_at(line, place.offset);
#ifdef INTERPOLATION_CUBIC
  const real x0 = kernel_from_sample(line->samples[at]);
  const real x1 = kernel_from_sample(line->samples[at = plate_reverb_older(line, at)]);
  const real x2 = kernel_from_sample(line->samples[at = plate_reverb_older(line, at)]);
  const real x3 = kernel_from_sample(line->samples[plate_reverb_older(line, at)]);
  const real slope = (x2 - x0) * (real)0.5;
  const real fall = x1 - x2;
  const real bend = slope + fall;
  const real twist = bend + fall + (x3 - x1) * (real)0.5;
  return ((twist * place.fraction - (bend + twist)) * place.fraction + slope) * place.fraction + x1;
#elif defined(INTERPOLATION_LINEAR)
  const real near = kernel_from_sample(line->samples[at]);
  const real far = kernel_from_sample(line->samples[plate_reverb_older(line, at)]);
  return near + place.fraction * (far - near);
#else
  return kernel_from_sample(line->samples[at]);
#endif
}

KERNEL_INLINE void plate_reverb_run(plate_reverb_state *s, const kernel_env *env, const float *const in[],
                                    float *const out[], uint32_t n) {
  static const float diffusion[plate_reverb_diffusers] = {-0.75f, -0.75f, -0.625f, -0.625f};
  const uint32_t channels = env->channels;
  // The slow sine by a coupled form, whose amplitude stays.
  s->sine += s->turn * s->cosine;
  s->cosine -= s->turn * s->sine;
  const plate_reverb_place place[2] = {plate_reverb_split((real)s->half[0].rest + s->sine),
                                       plate_reverb_split((real)s->half[1].rest + s->cosine)};
  for (uint32_t i = 0; i < n; i++) {
    real x = in[0][i];
    for (uint32_t c = 1; c < channels; c++)
      x += in[c][i];
    x *= s->input_scale;
    if (s->predelay.length > 0) {
      const real late = plate_reverb_oldest(&s->predelay);
      plate_reverb_write(&s->predelay, x);
      x = late;
    }
    x = s->bandwidth * x + s->bandwidth_complement * (real)s->band;
    s->band = (float)x;
    for (uint32_t k = 0; k < plate_reverb_diffusers; k++)
      x = plate_reverb_diffuse(&s->diffuser[k], x, diffusion[k], plate_reverb_oldest(&s->diffuser[k]));

    // The taps are read before their lines are written.
    for (uint32_t h = 0; h < 2; h++) {
      const plate_reverb_half *own = &s->half[h], *other = &s->half[1 - h];
      const uint32_t *tap = own->tap;
      const real sum = plate_reverb_tap(&other->first, tap[0]) + plate_reverb_tap(&other->first, tap[1]) -
                       plate_reverb_tap(&other->allpass, tap[2]) + plate_reverb_tap(&other->second, tap[3]) -
                       plate_reverb_tap(&own->first, tap[4]) - plate_reverb_tap(&own->allpass, tap[5]) -
                       plate_reverb_tap(&own->second, tap[6]);
      out[h][i] = (float)((real)0.6 * sum);
    }

    const real crossed[2] = {plate_reverb_oldest(&s->half[1].second), plate_reverb_oldest(&s->half[0].second)};
    for (uint32_t h = 0; h < 2; h++) {
      plate_reverb_half *half = &s->half[h];
      const real moved = plate_reverb_diffuse(&half->moving, x + s->decay_gain * crossed[h], (real)0.7,
                                              plate_reverb_between(&half->moving, place[h]));
      const real bright = plate_reverb_oldest(&half->first);
      plate_reverb_write(&half->first, moved);
      const real damped = s->damping_complement * bright + s->damping * (real)half->damped;
      half->damped = (float)damped;
      const real diffused = plate_reverb_diffuse(&half->allpass, s->decay_gain * damped, -(real)s->decay_diffusion,
                                                 plate_reverb_oldest(&half->allpass));
      plate_reverb_write(&half->second, diffused);
    }
  }
}
KERNEL_BLOCK(plate_reverb)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal.
void plate_reverb_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-38f : 0.1f);
}
#endif
