// Four combs side by side, two allpasses after them: s[n] = sum over i = 1..4 of d_i[n], d_i[n] = w_i[n - M_i],
// w_i[n] = x[n] + g_i d_i[n], g_i = 10^(-3 M_i / (sample rate x decay)); then twice v[n] = s[n] + 0.7 v[n - M],
// y[n] = v[n - M] - 0.7 v[n]; x is the mean of the input's channels (M.R. Schroeder, Natural Sounding Artificial
// Reverberation, J. Audio Eng. Soc. 10(3) 219-223, 1962; lengths of the customary realisation).
#include "kernel.h"

#if !defined(FORMAT_FLOAT32) && !defined(FORMAT_INT16)
#error "four-comb-reverb: define FORMAT_FLOAT32 or FORMAT_INT16"
#endif

enum { four_comb_reverb_combs = 4, four_comb_reverb_lines = 6 };

typedef struct {
  float decay; // seconds to -60 dB
} four_comb_reverb_params;

typedef struct {
  kernel_sample *samples;
  uint32_t length;
  uint32_t index; // read and written next
} four_comb_reverb_line;

typedef struct {
  four_comb_reverb_line line[four_comb_reverb_lines]; // combs, then allpasses
  float gain[four_comb_reverb_combs];
  float input_scale; // one over the number of channels
} four_comb_reverb_state;

uint32_t four_comb_reverb_state_bytes(const kernel_env *env, const four_comb_reverb_params *p) {
  (void)env, (void)p;
  return sizeof(four_comb_reverb_state);
}

// Milliseconds to the nearest sample, a half down; a little above is a half that floats have rounded.
static uint32_t four_comb_reverb_length(const kernel_env *env, uint32_t line) {
  static const float milliseconds[four_comb_reverb_lines] = {29.7f, 37.1f, 41.1f, 43.7f, 5.0f, 1.7f};
  const float exact = milliseconds[line] * env->sample_rate / 1000.0f;
  const uint32_t whole = (uint32_t)exact;
  return exact - (float)whole > 0.5001f ? whole + 1 : whole;
}

uint32_t four_comb_reverb_buffer_bytes(const kernel_env *env, const four_comb_reverb_params *p, uint32_t buffer) {
  (void)p;
  return four_comb_reverb_length(env, buffer) * sizeof(kernel_sample);
}

void four_comb_reverb_update_gains(four_comb_reverb_state *s, const kernel_env *env, const four_comb_reverb_params *p) {
  const real octaves_a_sample = (real)-9.96578428466 / (env->sample_rate * (real)p->decay); // -3 log2(10)
  for (uint32_t i = 0; i < four_comb_reverb_combs; i++)
    s->gain[i] = (float)kernel_exp2(octaves_a_sample * (real)s->line[i].length);
}

void four_comb_reverb_start(four_comb_reverb_state *s, const kernel_env *env, const four_comb_reverb_params *p,
                            void *const buffers[]) {
  for (uint32_t i = 0; i < four_comb_reverb_lines; i++)
    s->line[i] = (four_comb_reverb_line){.samples = buffers[i], .length = four_comb_reverb_length(env, i)};
  s->input_scale = 1.0f / (float)env->channels;
  four_comb_reverb_update_gains(s, env, p);
}

// Writes the newest sample where the oldest was read.
KERNEL_INLINE void four_comb_reverb_write(four_comb_reverb_line *line, real newest) {
  uint32_t index = line->index;
  line->samples[index] = kernel_to_sample(newest);
  if (++index == line->length)
    index = 0;
  line->index = index;
}

KERNEL_INLINE void four_comb_reverb_run(four_comb_reverb_state *s, const kernel_env *env, const float *const in[],
                                        float *const out[], uint32_t n) {
  const uint32_t channels = env->channels;
  const real input_scale = s->input_scale;
  float *y = out[0];
  for (uint32_t i = 0; i < n; i++) {
    real x = in[0][i];
    for (uint32_t c = 1; c < channels; c++)
      x += in[c][i];
    x *= input_scale;
    real sum = 0;
    four_comb_reverb_line *line = s->line;
    for (uint32_t k = 0; k < four_comb_reverb_combs; k++, line++) {
      const real oldest = kernel_from_sample(line->samples[line->index]);
      four_comb_reverb_write(line, x + s->gain[k] * oldest);
      sum += oldest;
    }
    for (uint32_t k = four_comb_reverb_combs; k < four_comb_reverb_lines; k++, line++) {
      const real oldest = kernel_from_sample(line->samples[line->index]);
      const real newest = sum + (real)0.7 * oldest;
      four_comb_reverb_write(line, newest);
      sum = oldest - (real)0.7 * newest;
    }
    y[i] = (float)sum;
  }
}
KERNEL_BLOCK(four_comb_reverb)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal.
void four_comb_reverb_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-38f : 0.1f);
}
#endif
