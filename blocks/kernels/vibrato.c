// Vibrato: y[n] = x(n - d[n]), d = 1 + sample rate depth (1 + 4 s(p)) / 2, s(p) = p (1 - abs p), p from -1 to 1 once a
// turn (J. Dattorro, Effect Design Part 2, J. Audio Eng. Soc. 45(10), 1997, for the moving read; the sway is a parabola
// and no sine).
#include "ring.h"

typedef struct {
  float depth; // seconds; at the start the longest that will be asked for
  float rate;  // hertz
} vibrato_params;

typedef struct {
  kernel_sample *line;
  uint32_t length, index; // words
  uint32_t phase, step;   // 2^32 are a turn
  ring_sweep sweep;
} vibrato_state;

uint32_t vibrato_state_bytes(const kernel_env *env, const vibrato_params *p) {
  (void)env, (void)p;
  return sizeof(vibrato_state);
}

// Words of the line: the depth, and the sample of which the youngest read is late.
static uint32_t vibrato_length(const kernel_env *env, const vibrato_params *p) {
  return ring_length(env, p->depth) + env->channels;
}

uint32_t vibrato_buffer_bytes(const kernel_env *env, const vibrato_params *p, uint32_t buffer) {
  (void)buffer;
  return vibrato_length(env, p) * sizeof(kernel_sample);
}

void vibrato_update_sweep(vibrato_state *s, const kernel_env *env, const vibrato_params *p) {
  s->sweep = ring_sweep_of(env, 1 / env->sample_rate, p->depth);
}

void vibrato_update_step(vibrato_state *s, const kernel_env *env, const vibrato_params *p) {
  s->step = ring_step(env, p->rate);
}

void vibrato_start(vibrato_state *s, const kernel_env *env, const vibrato_params *p, void *const buffers[]) {
  s->line = buffers[0];
  s->length = vibrato_length(env, p);
  s->index = 0;
  s->phase = ring_first_phase;
  vibrato_update_sweep(s, env, p);
  vibrato_update_step(s, env, p);
}

KERNEL_INLINE void vibrato_run(vibrato_state *s, const kernel_env *env, const float *const in[], float *const out[],
                               uint32_t n) {
  const uint32_t channels = env->channels, length = s->length, step = s->step;
  const real middle = s->sweep.middle, reach = s->sweep.reach;
  uint32_t index = s->index, phase = s->phase;
  for (uint32_t c = 0; c < channels; c++) {
    const float *from = in[c];
    float *to = out[c];
    kernel_sample *line = s->line + c;
    index = s->index;
    phase = s->phase;
    for (uint32_t i = 0; i < n; i++) {
      const real x = from[i];
      to[i] = (float)ring_read(line, length, channels, index, middle + reach * ring_sway(phase));
      line[index] = kernel_to_sample(x);
      phase += step;
      index += channels;
      if (index == length)
        index = 0;
    }
  }
  s->index = index;
  s->phase = phase;
}
KERNEL_BLOCK(vibrato)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal.
void vibrato_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-40f : 0.5f);
}
#endif
