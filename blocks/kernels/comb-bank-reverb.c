// Six lowpass combs side by side and one allpass, after a tapped line of early reflections if wanted:
// e[n] = x[n] + sum over k of a_k x[n - N_k]; d_i[n] = w_i[n - M_i], f_i[n] = d_i[n] + p_i f_i[n - 1],
// w_i[n] = e[n] + g (1 - p_i) f_i[n], s[n] = sum over i = 1..6 of d_i[n], g = 1 - 0.366 s / decay;
// v[n] = s[n] + 0.7 v[n - M], y[n] = v[n - M] - 0.7 v[n], and + e[n] with early reflections; x is the mean of the
// input's channels (J.A. Moorer, About This Reverberation Business, Computer Music Journal 3(2) 13-28, 1979).
#include "kernel.h"

#if !defined(EARLY_NONE) && !defined(EARLY_7) && !defined(EARLY_19)
#error "comb-bank-reverb: define EARLY_NONE, EARLY_7 or EARLY_19"
#endif
#if !defined(FORMAT_FLOAT32) && !defined(FORMAT_INT16)
#error "comb-bank-reverb: define FORMAT_FLOAT32 or FORMAT_INT16"
#endif

enum { comb_bank_reverb_combs = 6 };

typedef struct {
  float decay; // seconds to -60 dB
} comb_bank_reverb_params;

typedef struct {
  kernel_sample *samples;
  uint32_t length;
  uint32_t index; // read and written next
} comb_bank_reverb_line;

#ifndef EARLY_NONE
typedef struct {
  uint32_t offset; // samples before the place of writing
  float gain;
} comb_bank_reverb_tap;

// Taps after the direct sound, by the paper's two sets.
#ifdef EARLY_7
static const float comb_bank_reverb_early[][2] = {{19.9f, 1.02f},  {35.4f, 0.818f}, {38.9f, 0.635f},
                                                  {41.4f, 0.719f}, {69.9f, 0.267f}, {79.6f, 0.242f}};
#else
static const float comb_bank_reverb_early[][2] = {
    {4.3f, 0.841f},  {21.5f, 0.504f}, {22.5f, 0.491f}, {26.8f, 0.379f}, {27.0f, 0.380f}, {29.8f, 0.346f},
    {45.8f, 0.289f}, {48.5f, 0.272f}, {57.2f, 0.192f}, {58.7f, 0.193f}, {59.5f, 0.217f}, {61.2f, 0.181f},
    {70.7f, 0.180f}, {70.8f, 0.181f}, {72.6f, 0.176f}, {74.1f, 0.142f}, {75.3f, 0.167f}, {79.7f, 0.134f}};
#endif
enum { comb_bank_reverb_reflections = sizeof comb_bank_reverb_early / sizeof comb_bank_reverb_early[0] };
#endif

typedef struct {
  float pole;
  float feedback; // g (1 - pole)
  float memory;   // f
} comb_bank_reverb_loop;

typedef struct {
  comb_bank_reverb_line comb[comb_bank_reverb_combs];
  comb_bank_reverb_line allpass;
#ifndef EARLY_NONE
  comb_bank_reverb_line reflections;
  const comb_bank_reverb_tap *tap;
#endif
  comb_bank_reverb_loop loop[comb_bank_reverb_combs];
  float input_scale; // one over the number of channels
} comb_bank_reverb_state;

uint32_t comb_bank_reverb_state_bytes(const kernel_env *env, const comb_bank_reverb_params *p) {
  (void)env, (void)p;
  return sizeof(comb_bank_reverb_state);
}

static uint32_t comb_bank_reverb_samples(const kernel_env *env, float milliseconds) {
  return (uint32_t)(milliseconds * env->sample_rate / 1000.0f + 0.5f);
}

// The buffers are the combs, the allpass and the line of reflections, which is as long as its last tap.
static uint32_t comb_bank_reverb_length(const kernel_env *env, uint32_t buffer) {
  static const float milliseconds[comb_bank_reverb_combs + 1] = {50, 56, 61, 68, 72, 78, 6};
  if (buffer <= comb_bank_reverb_combs)
    return comb_bank_reverb_samples(env, milliseconds[buffer]);
#ifdef EARLY_NONE
  return 0;
#else
  return comb_bank_reverb_samples(env, comb_bank_reverb_early[comb_bank_reverb_reflections - 1][0]);
#endif
}

uint32_t comb_bank_reverb_buffer_bytes(const kernel_env *env, const comb_bank_reverb_params *p, uint32_t buffer) {
  (void)p;
  return comb_bank_reverb_length(env, buffer) * sizeof(kernel_sample);
}

uint32_t comb_bank_reverb_table_bytes(const kernel_env *env, const comb_bank_reverb_params *p, uint32_t table) {
  (void)env, (void)p, (void)table;
#ifdef EARLY_NONE
  return 0;
#else
  return comb_bank_reverb_reflections * sizeof(comb_bank_reverb_tap);
#endif
}

void comb_bank_reverb_table_fill(const kernel_env *env, const comb_bank_reverb_params *p, uint32_t table, void *at) {
  (void)env, (void)p, (void)table, (void)at;
#ifndef EARLY_NONE
  comb_bank_reverb_tap *tap = at;
  for (uint32_t k = 0; k < comb_bank_reverb_reflections; k++) {
    tap[k].offset = comb_bank_reverb_samples(env, comb_bank_reverb_early[k][0]);
    tap[k].gain = comb_bank_reverb_early[k][1];
  }
#endif
}

void comb_bank_reverb_update_feedback(comb_bank_reverb_state *s, const kernel_env *env,
                                      const comb_bank_reverb_params *p) {
  (void)env;
  const real gain = 1 - (real)0.366 / p->decay;
  for (uint32_t k = 0; k < comb_bank_reverb_combs; k++)
    s->loop[k].feedback = (float)(gain * (1 - (real)s->loop[k].pole));
}

void comb_bank_reverb_start(comb_bank_reverb_state *s, const kernel_env *env, const comb_bank_reverb_params *p,
                            void *const buffers[]) {
  // The poles at 25 and at 50 kHz; between them along a straight line, as the paper advises, and beyond them held.
  static const float slow[comb_bank_reverb_combs] = {0.24f, 0.26f, 0.28f, 0.29f, 0.30f, 0.32f};
  static const float fast[comb_bank_reverb_combs] = {0.46f, 0.48f, 0.50f, 0.52f, 0.53f, 0.55f};
  float part = (env->sample_rate - 25000.0f) / 25000.0f;
  part = part < 0 ? 0 : part > 1 ? 1 : part;
  for (uint32_t k = 0; k < comb_bank_reverb_combs; k++) {
    s->comb[k] = (comb_bank_reverb_line){.samples = buffers[k], .length = comb_bank_reverb_length(env, k)};
    s->loop[k] = (comb_bank_reverb_loop){.pole = slow[k] + part * (fast[k] - slow[k])};
  }
  s->allpass = (comb_bank_reverb_line){.samples = buffers[comb_bank_reverb_combs],
                                       .length = comb_bank_reverb_length(env, comb_bank_reverb_combs)};
#ifndef EARLY_NONE
  s->reflections = (comb_bank_reverb_line){.samples = buffers[comb_bank_reverb_combs + 1],
                                           .length = comb_bank_reverb_length(env, comb_bank_reverb_combs + 1)};
  s->tap = buffers[comb_bank_reverb_combs + 2];
#endif
  s->input_scale = 1.0f / (float)env->channels;
  comb_bank_reverb_update_feedback(s, env, p);
}

// Writes the newest sample where the oldest was read.
KERNEL_INLINE void comb_bank_reverb_write(comb_bank_reverb_line *line, real newest) {
  uint32_t index = line->index;
  line->samples[index] = kernel_to_sample(newest);
  if (++index == line->length)
    index = 0;
  line->index = index;
}

KERNEL_INLINE void comb_bank_reverb_run(comb_bank_reverb_state *s, const kernel_env *env, const float *const in[],
                                        float *const out[], uint32_t n) {
  const uint32_t channels = env->channels;
  const real input_scale = s->input_scale;
  float *y = out[0];
  for (uint32_t i = 0; i < n; i++) {
    real x = in[0][i];
    for (uint32_t c = 1; c < channels; c++)
      x += in[c][i];
    x *= input_scale;
#ifndef EARLY_NONE
    const real direct = x;
    const comb_bank_reverb_tap *tap = s->tap;
    const kernel_sample *reflections = s->reflections.samples;
    const uint32_t length = s->reflections.length, index = s->reflections.index;
    for (uint32_t k = 0; k < comb_bank_reverb_reflections; k++, tap++) {
      const uint32_t at = index >= tap->offset ? index - tap->offset : index + length - tap->offset;
      x += tap->gain * kernel_from_sample(reflections[at]);
    }
    comb_bank_reverb_write(&s->reflections, direct);
#endif
    real sum = 0;
    for (uint32_t k = 0; k < comb_bank_reverb_combs; k++) {
      comb_bank_reverb_line *line = &s->comb[k];
      comb_bank_reverb_loop *loop = &s->loop[k];
      const real oldest = kernel_from_sample(line->samples[line->index]);
      const real damped = oldest + loop->pole * (real)loop->memory;
      loop->memory = (float)damped;
      comb_bank_reverb_write(line, x + loop->feedback * damped);
      sum += oldest;
    }
    const real oldest = kernel_from_sample(s->allpass.samples[s->allpass.index]);
    const real newest = sum + (real)0.7 * oldest;
    comb_bank_reverb_write(&s->allpass, newest);
    sum = oldest - (real)0.7 * newest;
#ifndef EARLY_NONE
    sum += x;
#endif
    y[i] = (float)sum;
  }
}
KERNEL_BLOCK(comb_bank_reverb)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal.
void comb_bank_reverb_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-38f : 0.1f);
}
#endif
