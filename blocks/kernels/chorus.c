// Chorus: y[n] = x[n] + m (1/V sum over k = 0..V-1 of w(n - d_k[n]) - x[n]), w the input, d_k = sample rate (time +
// depth (1 + 4 s(p + k/V)) / 2), s(p) = p (1 - abs p), p from -1 to 1 once a turn (J. Dattorro, Effect Design Part 2,
// J. Audio Eng. Soc. 45(10), 1997, for the voices on one line; the sway is a parabola and no sine).
#include "ring.h"

typedef struct {
  float time, depth; // seconds; at the start the longest that will be asked for
  float rate;        // hertz
  uint32_t voices;
  float mix; // ratio
} chorus_params;

typedef struct {
  kernel_sample *line;
  uint32_t length, index; // words
  uint32_t phase, step;   // 2^32 are a turn
  uint32_t voices, spread; // of a turn from voice to voice
  ring_sweep sweep;
  float share, mix; // of one voice, and of all
} chorus_state;

uint32_t chorus_state_bytes(const kernel_env *env, const chorus_params *p) {
  (void)env, (void)p;
  return sizeof(chorus_state);
}

uint32_t chorus_buffer_bytes(const kernel_env *env, const chorus_params *p, uint32_t buffer) {
  (void)buffer;
  return ring_length(env, p->time + p->depth) * sizeof(kernel_sample);
}

void chorus_update_sweep(chorus_state *s, const kernel_env *env, const chorus_params *p) {
  s->sweep = ring_sweep_of(env, p->time, p->depth);
}

void chorus_update_step(chorus_state *s, const kernel_env *env, const chorus_params *p) {
  s->step = ring_step(env, p->rate);
}

void chorus_start(chorus_state *s, const kernel_env *env, const chorus_params *p, void *const buffers[]) {
  s->line = buffers[0];
  s->length = ring_length(env, p->time + p->depth);
  s->index = 0;
  s->phase = ring_first_phase;
  s->voices = p->voices;
  s->spread = 0xffffffffu / p->voices;
  s->share = 1.0f / (float)p->voices;
  s->mix = p->mix;
  chorus_update_sweep(s, env, p);
  chorus_update_step(s, env, p);
}

KERNEL_INLINE void chorus_run(chorus_state *s, const kernel_env *env, const float *const in[], float *const out[],
                              uint32_t n) {
  const uint32_t channels = env->channels, length = s->length, voices = s->voices, spread = s->spread, step = s->step;
  const real middle = s->sweep.middle, reach = s->sweep.reach, share = s->share, mix = s->mix;
  uint32_t index = s->index, phase = s->phase;
  for (uint32_t c = 0; c < channels; c++) {
    const float *from = in[c];
    float *to = out[c];
    kernel_sample *line = s->line + c;
    index = s->index;
    phase = s->phase;
    for (uint32_t i = 0; i < n; i++) {
      const real x = from[i];
      uint32_t voice = phase + c * ring_channel_phase;
      real sum = 0;
      for (uint32_t k = 0; k < voices; k++) {
        sum += ring_read(line, length, channels, index, middle + reach * ring_sway(voice));
        voice += spread;
      }
      line[index] = kernel_to_sample(x);
      to[i] = (float)(x + mix * (share * sum - x));
      phase += step;
      index += channels;
      if (index == length)
        index = 0;
    }
  }
  s->index = index;
  s->phase = phase;
}
KERNEL_BLOCK(chorus)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal, and so small that the sum of the voices is too.
void chorus_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-40f : 0.5f);
}
#endif
