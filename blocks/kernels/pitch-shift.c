// Pitch shift: y[n] = (1 - abs s) w(n - d(s)) + abs s w(n - d(s')), d(s) = 1 + W (1 + s) / 2, s from -1 to 1 by
// 2 (1 - pitch) / W a sample and round again, s' half a turn away, W = window x sample rate. Each tap runs along the line
// at the pitch wanted, and jumps back where it is not heard.
#include "ring.h"

typedef struct {
  float pitch;  // ratio of what is heard to what goes in
  float window; // seconds
} pitch_shift_params;

typedef struct {
  kernel_sample *line;
  uint32_t length, index; // words
  uint32_t phase, step;   // of s; 2^32 are a turn
  float middle, reach;    // of d - 1
} pitch_shift_state;

uint32_t pitch_shift_state_bytes(const kernel_env *env, const pitch_shift_params *p) {
  (void)env, (void)p;
  return sizeof(pitch_shift_state);
}

// Words of the line: the window, and the sample of which the youngest read is late.
static uint32_t pitch_shift_length(const kernel_env *env, const pitch_shift_params *p) {
  return ring_length(env, p->window) + env->channels;
}

uint32_t pitch_shift_buffer_bytes(const kernel_env *env, const pitch_shift_params *p, uint32_t buffer) {
  (void)buffer;
  return pitch_shift_length(env, p) * sizeof(kernel_sample);
}

void pitch_shift_update_step(pitch_shift_state *s, const kernel_env *env, const pitch_shift_params *p) {
  s->step = (uint32_t)(int32_t)((1 - (real)p->pitch) * (real)4294967296.0 / ((real)p->window * env->sample_rate));
}

void pitch_shift_start(pitch_shift_state *s, const kernel_env *env, const pitch_shift_params *p, void *const buffers[]) {
  s->line = buffers[0];
  s->length = pitch_shift_length(env, p);
  s->index = 0;
  s->phase = ring_first_phase;
  s->middle = s->reach = p->window * env->sample_rate * 0.5f;
  pitch_shift_update_step(s, env, p);
}

KERNEL_INLINE void pitch_shift_run(pitch_shift_state *s, const kernel_env *env, const float *const in[],
                                   float *const out[], uint32_t n) {
  const uint32_t channels = env->channels, length = s->length, step = s->step;
  const real middle = s->middle, reach = s->reach;
  uint32_t index = s->index, phase = s->phase;
  for (uint32_t c = 0; c < channels; c++) {
    const float *from = in[c];
    float *to = out[c];
    kernel_sample *line = s->line + c;
    index = s->index;
    phase = s->phase;
    for (uint32_t i = 0; i < n; i++) {
      const real x = from[i];
      const real one = (real)(int32_t)phase * (real)(1.0 / 2147483648.0);
      const real other = (real)(int32_t)(phase + 0x80000000u) * (real)(1.0 / 2147483648.0);
      const real near = ring_read(line, length, channels, index, middle + reach * one);
      const real far = ring_read(line, length, channels, index, middle + reach * other);
      line[index] = kernel_to_sample(x);
      to[i] = (float)(near + kernel_abs(one) * (far - near));
      phase += step;
      index += channels;
      if (index == length)
        index = 0;
    }
  }
  s->index = index;
  s->phase = phase;
}
KERNEL_BLOCK(pitch_shift)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal.
void pitch_shift_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-40f : 0.5f);
}
#endif
