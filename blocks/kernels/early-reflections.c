// Early reflections of a room, one tapped line: y[n] = sum over k = 1..K of a_k x[n - N_k], without the direct sound; x is
// the mean of the input's channels (J.A. Moorer, About This Reverberation Business, Computer Music Journal 3(2) 13-28,
// 1979). The line is as long as its last tap and is read before it is written.
#include "kernel.h"

#if !defined(REFLECTIONS_6) && !defined(REFLECTIONS_18)
#error "early-reflections: define REFLECTIONS_6 or REFLECTIONS_18"
#endif
#if !defined(FORMAT_FLOAT32) && !defined(FORMAT_INT16)
#error "early-reflections: define FORMAT_FLOAT32 or FORMAT_INT16"
#endif

// Milliseconds after the direct sound and gains against it, by the paper's two sets.
#ifdef REFLECTIONS_6
static const float early_reflections_walls[][2] = {{19.9f, 1.02f},  {35.4f, 0.818f}, {38.9f, 0.635f},
                                                   {41.4f, 0.719f}, {69.9f, 0.267f}, {79.6f, 0.242f}};
#else
static const float early_reflections_walls[][2] = {
    {4.3f, 0.841f},  {21.5f, 0.504f}, {22.5f, 0.491f}, {26.8f, 0.379f}, {27.0f, 0.380f}, {29.8f, 0.346f},
    {45.8f, 0.289f}, {48.5f, 0.272f}, {57.2f, 0.192f}, {58.7f, 0.193f}, {59.5f, 0.217f}, {61.2f, 0.181f},
    {70.7f, 0.180f}, {70.8f, 0.181f}, {72.6f, 0.176f}, {74.1f, 0.142f}, {75.3f, 0.167f}, {79.7f, 0.134f}};
#endif
enum { early_reflections_taps = sizeof early_reflections_walls / sizeof early_reflections_walls[0] };

typedef kernel_nothing early_reflections_params;

typedef struct {
  uint32_t offset; // samples before the place of writing
  float gain;
} early_reflections_tap;

typedef struct {
  kernel_sample *line;
  uint32_t length;
  uint32_t index; // where the last tap is read and the newest sample written
  const early_reflections_tap *tap;
  float input_scale; // one over the number of channels
} early_reflections_state;

uint32_t early_reflections_state_bytes(const kernel_env *env, const early_reflections_params *p) {
  (void)env, (void)p;
  return sizeof(early_reflections_state);
}

static uint32_t early_reflections_samples(const kernel_env *env, uint32_t tap) {
  return (uint32_t)(early_reflections_walls[tap][0] * env->sample_rate / 1000.0f + 0.5f);
}

uint32_t early_reflections_buffer_bytes(const kernel_env *env, const early_reflections_params *p, uint32_t buffer) {
  (void)p, (void)buffer;
  return early_reflections_samples(env, early_reflections_taps - 1) * sizeof(kernel_sample);
}

uint32_t early_reflections_table_bytes(const kernel_env *env, const early_reflections_params *p, uint32_t table) {
  (void)env, (void)p, (void)table;
  return early_reflections_taps * sizeof(early_reflections_tap);
}

void early_reflections_table_fill(const kernel_env *env, const early_reflections_params *p, uint32_t table, void *at) {
  (void)p, (void)table;
  early_reflections_tap *tap = at;
  for (uint32_t k = 0; k < early_reflections_taps; k++)
    tap[k] = (early_reflections_tap){early_reflections_samples(env, k), early_reflections_walls[k][1]};
}

void early_reflections_start(early_reflections_state *s, const kernel_env *env, const early_reflections_params *p,
                             void *const buffers[]) {
  (void)p;
  s->line = buffers[0];
  s->length = early_reflections_samples(env, early_reflections_taps - 1);
  s->index = 0;
  s->tap = buffers[1];
  s->input_scale = 1.0f / (float)env->channels;
}

KERNEL_INLINE void early_reflections_run(early_reflections_state *s, const kernel_env *env, const float *const in[],
                                         float *const out[], uint32_t n) {
  const uint32_t channels = env->channels, length = s->length;
  const real input_scale = s->input_scale;
  kernel_sample *line = s->line;
  float *y = out[0];
  uint32_t index = s->index;
  for (uint32_t i = 0; i < n; i++) {
    real x = in[0][i];
    for (uint32_t c = 1; c < channels; c++)
      x += in[c][i];
    real sum = 0;
    const early_reflections_tap *tap = s->tap;
    for (uint32_t k = 0; k < early_reflections_taps; k++, tap++) {
      const uint32_t at = index >= tap->offset ? index - tap->offset : index + length - tap->offset;
      sum += tap->gain * kernel_from_sample(line[at]);
    }
    line[index] = kernel_to_sample(x * input_scale);
    if (++index == length)
      index = 0;
    y[i] = (float)sum;
  }
  s->index = index;
}
KERNEL_BLOCK(early_reflections)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal.
void early_reflections_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-38f : 0.1f);
}
#endif
