// Eight damped combs side by side and four allpass-like smearers after them, for each of two sides:
// d_i[n] = w_i[n - M_i], f_i[n] = (1 - p) d_i[n] + p f_i[n - 1], w_i[n] = 0.015 x[n] + g f_i[n],
// s[n] = sum over i = 1..8 of d_i[n], p = 0.4 damping, g = 10^(-3 x 0.03125 s / decay); then four times
// v[n] = s[n] + 0.5 v[n - M], y[n] = v[n - M] - s[n]; x is the sum of the input's channels. Structure, lengths and
// constants are those of a public-domain reverberator of June 2000; the gain for a decay time is M.R. Schroeder's of
// 1962, for the comb of mean length.
#include "kernel.h"

#if !defined(FORMAT_FLOAT32) && !defined(FORMAT_INT16)
#error "eight-comb-reverb: define FORMAT_FLOAT32 or FORMAT_INT16"
#endif

enum { eight_comb_reverb_combs = 8, eight_comb_reverb_allpasses = 4 };

typedef struct {
  float decay;   // seconds to -60 dB
  float damping; // ratio
} eight_comb_reverb_params;

typedef struct {
  kernel_sample *samples;
  uint32_t length;
  uint32_t index; // read and written next
} eight_comb_reverb_line;

typedef struct {
  eight_comb_reverb_line comb[eight_comb_reverb_combs];
  eight_comb_reverb_line allpass[eight_comb_reverb_allpasses];
  float memory[eight_comb_reverb_combs]; // f of each comb
} eight_comb_reverb_side;

typedef struct {
  eight_comb_reverb_side side[2];
  float feedback;
  float pole;
  float complement; // of the pole
} eight_comb_reverb_state;

uint32_t eight_comb_reverb_state_bytes(const kernel_env *env, const eight_comb_reverb_params *p) {
  (void)env, (void)p;
  return sizeof(eight_comb_reverb_state);
}

// A published length at 44.1 kHz, scaled to the nearest sample. The buffers are the left combs, the right combs, the
// left allpasses, the right allpasses.
static uint32_t eight_comb_reverb_length(const kernel_env *env, uint32_t buffer) {
  static const float lengths[2 * (eight_comb_reverb_combs + eight_comb_reverb_allpasses)] = {
      1116, 1188, 1277, 1356, 1422, 1491, 1557, 1617, 1139, 1211, 1300, 1379,
      1445, 1514, 1580, 1640, 556,  441,  341,  225,  579,  464,  364,  248};
  return (uint32_t)(lengths[buffer] * (env->sample_rate / 44100.0f) + 0.5f);
}

uint32_t eight_comb_reverb_buffer_bytes(const kernel_env *env, const eight_comb_reverb_params *p, uint32_t buffer) {
  (void)p;
  return eight_comb_reverb_length(env, buffer) * sizeof(kernel_sample);
}

void eight_comb_reverb_update_feedback(eight_comb_reverb_state *s, const kernel_env *env,
                                       const eight_comb_reverb_params *p) {
  (void)env;
  s->feedback = (float)kernel_exp2((real)(-9.96578428466 * 0.03125) / p->decay); // -3 log2(10) times the mean length
}

void eight_comb_reverb_update_pole(eight_comb_reverb_state *s, const kernel_env *env,
                                   const eight_comb_reverb_params *p) {
  (void)env;
  const real pole = p->damping * (real)0.4;
  s->pole = (float)pole;
  s->complement = (float)(1 - pole);
}

static eight_comb_reverb_line eight_comb_reverb_line_of(const kernel_env *env, void *const buffers[], uint32_t buffer) {
  return (eight_comb_reverb_line){.samples = buffers[buffer], .length = eight_comb_reverb_length(env, buffer)};
}

void eight_comb_reverb_start(eight_comb_reverb_state *s, const kernel_env *env, const eight_comb_reverb_params *p,
                             void *const buffers[]) {
  for (uint32_t h = 0; h < 2; h++) {
    eight_comb_reverb_side *side = &s->side[h];
    for (uint32_t k = 0; k < eight_comb_reverb_combs; k++) {
      side->comb[k] = eight_comb_reverb_line_of(env, buffers, h * eight_comb_reverb_combs + k);
      side->memory[k] = 0;
    }
    for (uint32_t k = 0; k < eight_comb_reverb_allpasses; k++)
      side->allpass[k] = eight_comb_reverb_line_of(
          env, buffers, 2 * eight_comb_reverb_combs + h * eight_comb_reverb_allpasses + k);
  }
  eight_comb_reverb_update_feedback(s, env, p);
  eight_comb_reverb_update_pole(s, env, p);
}

// Writes the newest sample where the oldest was read.
KERNEL_INLINE void eight_comb_reverb_write(eight_comb_reverb_line *line, real newest) {
  uint32_t index = line->index;
  line->samples[index] = kernel_to_sample(newest);
  if (++index == line->length)
    index = 0;
  line->index = index;
}

KERNEL_INLINE void eight_comb_reverb_run(eight_comb_reverb_state *s, const kernel_env *env, const float *const in[],
                                         float *const out[], uint32_t n) {
  const uint32_t channels = env->channels;
  const real feedback = s->feedback, pole = s->pole, complement = s->complement;
  for (uint32_t i = 0; i < n; i++) {
    real x = in[0][i];
    for (uint32_t c = 1; c < channels; c++)
      x += in[c][i];
    x *= (real)0.015;
    for (uint32_t h = 0; h < 2; h++) {
      eight_comb_reverb_side *side = &s->side[h];
      real sum = 0;
      for (uint32_t k = 0; k < eight_comb_reverb_combs; k++) {
        eight_comb_reverb_line *line = &side->comb[k];
        const real oldest = kernel_from_sample(line->samples[line->index]);
        const real damped = complement * oldest + pole * side->memory[k];
        side->memory[k] = (float)damped;
        eight_comb_reverb_write(line, x + feedback * damped);
        sum += oldest;
      }
      for (uint32_t k = 0; k < eight_comb_reverb_allpasses; k++) {
        eight_comb_reverb_line *line = &side->allpass[k];
        const real oldest = kernel_from_sample(line->samples[line->index]);
        eight_comb_reverb_write(line, sum + (real)0.5 * oldest);
        sum = oldest - sum;
      }
      out[h][i] = (float)sum;
    }
  }
}
KERNEL_BLOCK(eight_comb_reverb)

#ifdef KERNEL_STIMULI
// The costliest samples are so small that their share in the combs is denormal.
void eight_comb_reverb_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-37f : 1.0f);
}
#endif
