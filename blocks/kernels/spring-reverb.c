// Spring reverberator: u[n] = x[n] + k y[n - M], y[n] = y[n - 1] + c (A(u)[n] - y[n - 1]), A a row of allpasses
// v[n] = u[n] - a v[n - K], w[n] = a v[n] + v[n - K] (allpasses stretched to K samples: V. Valimaki, J. Parker and J. Abel,
// Parametric Spring Reverberation Effect, J. Audio Eng. Soc. 58(7/8), 2010); K = sample rate / (2 transition), rounded,
// M = time x sample rate, k = -10^(-3 L / decay), L = time + N K (1 - a) / (1 + a) / sample rate, the way round at zero
// frequency; c = 1 - exp(-2 pi transition / sample rate). x is the mean of the input's channels.
#include "kernel.h"

typedef struct {
  float decay;      // seconds
  float time;       // seconds
  float transition; // hertz
  uint32_t sections;
} spring_reverb_params;

typedef struct {
  float *loop, *rows; // the rows hold a word of each section for each of K moments
  uint32_t loop_words, loop_index;
  uint32_t row_words, row_index;
  uint32_t sections;
  float feedback;
  float smoothing, low; // of the lowpass, and its memory
  float input_scale;    // one over the number of channels
} spring_reverb_state;

static const real spring_reverb_bend = (real)0.6; // a

uint32_t spring_reverb_state_bytes(const kernel_env *env, const spring_reverb_params *p) {
  (void)env, (void)p;
  return sizeof(spring_reverb_state);
}

// K.
static uint32_t spring_reverb_stretch(const kernel_env *env, const spring_reverb_params *p) {
  return (uint32_t)(env->sample_rate / (2 * p->transition) + 0.5f);
}

// M.
static uint32_t spring_reverb_loop(const kernel_env *env, const spring_reverb_params *p) {
  return (uint32_t)(p->time * env->sample_rate + 0.5f);
}

uint32_t spring_reverb_buffer_bytes(const kernel_env *env, const spring_reverb_params *p, uint32_t buffer) {
  return (buffer == 0 ? spring_reverb_loop(env, p) : spring_reverb_stretch(env, p) * p->sections) * sizeof(float);
}

void spring_reverb_update_feedback(spring_reverb_state *s, const kernel_env *env, const spring_reverb_params *p) {
  const real chain = (real)s->row_words * ((1 - spring_reverb_bend) / (1 + spring_reverb_bend));
  const real way = ((real)s->loop_words + chain) / env->sample_rate;
  s->feedback = (float)-kernel_exp2((real)-9.96578428466 * way / p->decay); // -3 are -9.966 octaves
}

void spring_reverb_start(spring_reverb_state *s, const kernel_env *env, const spring_reverb_params *p,
                         void *const buffers[]) {
  *s = (spring_reverb_state){
      .loop = buffers[0],
      .rows = buffers[1],
      .loop_words = spring_reverb_loop(env, p),
      .row_words = spring_reverb_stretch(env, p) * p->sections,
      .sections = p->sections,
      .smoothing = (float)(1 - kernel_exp(-2 * kernel_pi * p->transition / env->sample_rate)),
      .input_scale = 1.0f / (float)env->channels,
  };
  spring_reverb_update_feedback(s, env, p);
}

KERNEL_INLINE void spring_reverb_run(spring_reverb_state *s, const kernel_env *env, const float *const in[],
                                     float *const out[], uint32_t n) {
  const uint32_t channels = env->channels, sections = s->sections, loop_words = s->loop_words, row_words = s->row_words;
  const real feedback = s->feedback, smoothing = s->smoothing, input_scale = s->input_scale;
  uint32_t loop_index = s->loop_index, row_index = s->row_index;
  real low = s->low;
  for (uint32_t i = 0; i < n; i++) {
    real x = in[0][i];
    for (uint32_t c = 1; c < channels; c++)
      x += in[c][i];
    real u = x * input_scale + feedback * s->loop[loop_index];
    float *row = s->rows + row_index;
    for (uint32_t k = 0; k < sections; k++) {
      const real oldest = row[k];
      const real newest = u - spring_reverb_bend * oldest;
      row[k] = (float)newest;
      u = spring_reverb_bend * newest + oldest;
    }
    row_index += sections;
    if (row_index == row_words)
      row_index = 0;
    low += smoothing * (u - low);
    s->loop[loop_index] = (float)low;
    if (++loop_index == loop_words)
      loop_index = 0;
    out[0][i] = (float)low;
  }
  s->loop_index = loop_index;
  s->row_index = row_index;
  s->low = (float)low;
}
KERNEL_BLOCK(spring_reverb)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal.
void spring_reverb_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-38f : 0.1f);
}
#endif
