// Bit and rate reducer: a phase moves on by rate / sample rate, and where it passes a whole turn the passing sample is taken,
// h[n] = x[n], else h[n] = h[n-1]; y = q round(h / q), q = 2^(1 - bits), or h / q is cut toward zero (any text on
// quantisation). Turns are counted in 32 bits, so that at the full rate one sample in 2^32 is held. abs(x) must stay below
// 2^31 steps.
#include "kernel.h"

#if !defined(ROUNDING_NEAREST) && !defined(ROUNDING_CUT)
#error "bit-reducer: define ROUNDING_NEAREST or ROUNDING_CUT"
#endif

typedef struct {
  uint32_t bits;
  float rate; // hertz
} bit_reducer_params;

typedef struct {
  uint32_t phase, turn; // of the rate, in turns / 2^32
  float scale, step;    // steps in 1, and their size
  float held[];         // of each channel
} bit_reducer_state;

uint32_t bit_reducer_state_bytes(const kernel_env *env, const bit_reducer_params *p) {
  (void)p;
  return sizeof(bit_reducer_state) + env->channels * sizeof(float);
}

void bit_reducer_update_rate(bit_reducer_state *s, const kernel_env *env, const bit_reducer_params *p) {
  const real turn = (real)p->rate / env->sample_rate;
  s->turn = turn < 1 ? (uint32_t)(turn * (real)4294967296.0) : 0xffffffffu;
}

void bit_reducer_start(bit_reducer_state *s, const kernel_env *env, const bit_reducer_params *p, void *const buffers[]) {
  (void)buffers;
  s->phase = 0xffffffffu; // the first sample is taken
  s->scale = (float)(1u << (p->bits - 1));
  s->step = 1 / s->scale;
  for (uint32_t c = 0; c < env->channels; c++)
    s->held[c] = 0;
  bit_reducer_update_rate(s, env, p);
}

KERNEL_INLINE int32_t bit_reducer_round(real steps) {
#ifdef ROUNDING_NEAREST
  steps += steps < 0 ? (real)-0.5 : (real)0.5;
#endif
  return (int32_t)steps;
}

KERNEL_INLINE void bit_reducer_run(bit_reducer_state *s, const kernel_env *env, const float *const in[],
                                   float *const out[], uint32_t n) {
  const uint32_t channels = env->channels, turn = s->turn;
  const real scale = s->scale, step = s->step;
  uint32_t phase = s->phase;
  for (uint32_t c = 0; c < channels; c++) {
    const float *x = in[c];
    float *y = out[c];
    float held = s->held[c];
    phase = s->phase;
    for (uint32_t i = 0; i < n; i++) {
      phase += turn;
      held = phase < turn ? x[i] : held;
      y[i] = (float)(step * (real)bit_reducer_round(scale * held));
    }
    s->held[c] = held;
  }
  s->phase = phase;
}
KERNEL_BLOCK(bit_reducer)

#ifdef KERNEL_STIMULI
// Signs take turns. The costliest samples are denormal.
void bit_reducer_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = (2 + kernel_noise(&seed)) * (costliest ? 1e-39f : 0.3f) * (i & 1 ? -1.0f : 1.0f);
}
#endif
