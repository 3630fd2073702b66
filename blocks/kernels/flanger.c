// Flanger: y[n] = x[n] + m (e[n] - x[n]), e[n] = w(n - d[n]), w[n] = x[n] + f e[n], d = sample rate (time +
// depth (1 + 4 s(p)) / 2), s(p) = p (1 - abs p), p from -1 to 1 once a turn (J. Dattorro, Effect Design Part 2, J. Audio
// Eng. Soc. 45(10), 1997, for the moving read with feedback; the sway is a parabola and no sine).
#include "ring.h"

typedef struct {
  float time, depth;   // seconds; at the start the longest that will be asked for
  float rate;          // hertz
  float feedback, mix; // ratio
} flanger_params;

typedef struct {
  kernel_sample *line;
  uint32_t length, index; // words
  uint32_t phase, step;   // 2^32 are a turn
  ring_sweep sweep;
  float feedback, mix;
} flanger_state;

uint32_t flanger_state_bytes(const kernel_env *env, const flanger_params *p) {
  (void)env, (void)p;
  return sizeof(flanger_state);
}

uint32_t flanger_buffer_bytes(const kernel_env *env, const flanger_params *p, uint32_t buffer) {
  (void)buffer;
  return ring_length(env, p->time + p->depth) * sizeof(kernel_sample);
}

void flanger_update_sweep(flanger_state *s, const kernel_env *env, const flanger_params *p) {
  s->sweep = ring_sweep_of(env, p->time, p->depth);
}

void flanger_update_step(flanger_state *s, const kernel_env *env, const flanger_params *p) {
  s->step = ring_step(env, p->rate);
}

void flanger_start(flanger_state *s, const kernel_env *env, const flanger_params *p, void *const buffers[]) {
  s->line = buffers[0];
  s->length = ring_length(env, p->time + p->depth);
  s->index = 0;
  s->phase = ring_first_phase;
  s->feedback = p->feedback;
  s->mix = p->mix;
  flanger_update_sweep(s, env, p);
  flanger_update_step(s, env, p);
}

KERNEL_INLINE void flanger_run(flanger_state *s, const kernel_env *env, const float *const in[], float *const out[],
                               uint32_t n) {
  const uint32_t channels = env->channels, length = s->length, step = s->step;
  const real middle = s->sweep.middle, reach = s->sweep.reach, feedback = s->feedback, mix = s->mix;
  uint32_t index = s->index, phase = s->phase;
  for (uint32_t c = 0; c < channels; c++) {
    const float *from = in[c];
    float *to = out[c];
    kernel_sample *line = s->line + c;
    index = s->index;
    phase = s->phase;
    for (uint32_t i = 0; i < n; i++) {
      const real x = from[i];
      const real sway = ring_sway(phase + c * ring_channel_phase);
      const real echo = ring_read(line, length, channels, index, middle + reach * sway);
      line[index] = kernel_to_sample(x + feedback * echo);
      to[i] = (float)(x + mix * (echo - x));
      phase += step;
      index += channels;
      if (index == length)
        index = 0;
    }
  }
  s->index = index;
  s->phase = phase;
}
KERNEL_BLOCK(flanger)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal, and so small that the sum of their echoes is too.
void flanger_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-40f : 0.5f);
}
#endif
