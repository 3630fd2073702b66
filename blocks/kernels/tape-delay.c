// Tape delay: w[n] = s(x[n] + g y[n]), s(v) = v - (4/27) v^3 for v held in -1.5..1.5; y[n] = y[n-1] + a (w(n - d[n]) -
// y[n-1]), a = 1 - exp(-2 pi cutoff / sample rate); d = sample rate (time + depth (1 + 4 s(p)) / 2), s(p) = p (1 -
// abs p), p from -1 to 1 once a turn. The cubic is that of the soft clip, the lowpass the one-pole.
#include "ring.h"

typedef struct {
  float time, depth; // seconds; at the start the longest that will be asked for
  float rate;        // hertz
  float feedback;
  float cutoff; // hertz
} tape_delay_params;

typedef struct {
  kernel_sample *line;
  uint32_t length, index; // words
  uint32_t phase, step;   // 2^32 are a turn
  ring_sweep sweep;
  float feedback, smoothing;
  float echo[]; // of each channel
} tape_delay_state;

uint32_t tape_delay_state_bytes(const kernel_env *env, const tape_delay_params *p) {
  (void)p;
  return sizeof(tape_delay_state) + env->channels * sizeof(float);
}

uint32_t tape_delay_buffer_bytes(const kernel_env *env, const tape_delay_params *p, uint32_t buffer) {
  (void)buffer;
  return ring_length(env, p->time + p->depth) * sizeof(kernel_sample);
}

void tape_delay_update_sweep(tape_delay_state *s, const kernel_env *env, const tape_delay_params *p) {
  s->sweep = ring_sweep_of(env, p->time, p->depth);
}

void tape_delay_update_step(tape_delay_state *s, const kernel_env *env, const tape_delay_params *p) {
  s->step = ring_step(env, p->rate);
}

void tape_delay_update_tone(tape_delay_state *s, const kernel_env *env, const tape_delay_params *p) {
  s->smoothing = (float)(1 - kernel_exp(-2 * kernel_pi * p->cutoff / env->sample_rate));
}

void tape_delay_start(tape_delay_state *s, const kernel_env *env, const tape_delay_params *p, void *const buffers[]) {
  s->line = buffers[0];
  s->length = ring_length(env, p->time + p->depth);
  s->index = 0;
  s->phase = ring_first_phase;
  s->feedback = p->feedback;
  for (uint32_t c = 0; c < env->channels; c++)
    s->echo[c] = 0;
  tape_delay_update_sweep(s, env, p);
  tape_delay_update_step(s, env, p);
  tape_delay_update_tone(s, env, p);
}

KERNEL_INLINE real tape_delay_saturated(real v) {
  v = v < (real)-1.5 ? (real)-1.5 : v > (real)1.5 ? (real)1.5 : v;
  return v - (real)(4.0 / 27.0) * v * v * v;
}

// Channels sway together, as tracks of one tape do.
KERNEL_INLINE void tape_delay_run(tape_delay_state *s, const kernel_env *env, const float *const in[],
                                  float *const out[], uint32_t n) {
  const uint32_t channels = env->channels, length = s->length, step = s->step;
  const real middle = s->sweep.middle, reach = s->sweep.reach, feedback = s->feedback, smoothing = s->smoothing;
  uint32_t index = s->index, phase = s->phase;
  for (uint32_t c = 0; c < channels; c++) {
    const float *from = in[c];
    float *to = out[c];
    kernel_sample *line = s->line + c;
    float echo = s->echo[c];
    index = s->index;
    phase = s->phase;
    for (uint32_t i = 0; i < n; i++) {
      const real read = ring_read(line, length, channels, index, middle + reach * ring_sway(phase));
      echo = (float)(echo + smoothing * (read - echo));
      line[index] = kernel_to_sample(tape_delay_saturated(from[i] + feedback * echo));
      to[i] = echo;
      phase += step;
      index += channels;
      if (index == length)
        index = 0;
    }
    s->echo[c] = echo;
  }
  s->index = index;
  s->phase = phase;
}
KERNEL_BLOCK(tape_delay)

#ifdef KERNEL_STIMULI
// Ordinary samples are within what the tape takes without being held. The costliest are denormal.
void tape_delay_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-38f : 0.5f);
}
#endif
