// One-pole filter in fixed point: y[n] = y[n-1] + a (x[n] - y[n-1]), a = 1 - exp(-2 pi cutoff / sample rate); the high
// response is what the low one leaves, x[n] - y[n] (any text on digital filters). The memory has thirty-two bits whatever
// the word, one of them headroom (Q1.30 in Arm's notation, from memory), so that a difference always fits; the word is
// that of the input and of a. A change of less than a step is none: the filter comes to rest 1 / a steps below its input.
#include "fixed.h"

#if !defined(RESPONSE_LOW) && !defined(RESPONSE_HIGH)
#error "fixed-one-pole: define RESPONSE_LOW or RESPONSE_HIGH"
#endif

typedef struct {
  float cutoff; // hertz
} fixed_one_pole_params;

typedef struct {
  int32_t coefficient; // a word
  int32_t memory[];    // last low output in fractions of 2^30, one a channel
} fixed_one_pole_state;

uint32_t fixed_one_pole_state_bytes(const kernel_env *env, const fixed_one_pole_params *p) {
  (void)p;
  return sizeof(fixed_one_pole_state) + env->channels * sizeof(int32_t);
}

void fixed_one_pole_update_coefficient(fixed_one_pole_state *s, const kernel_env *env, const fixed_one_pole_params *p) {
  s->coefficient = fixed_from_float((float)((real)1 - kernel_exp(-2 * kernel_pi / env->sample_rate * p->cutoff)));
}

void fixed_one_pole_start(fixed_one_pole_state *s, const kernel_env *env, const fixed_one_pole_params *p,
                          void *const buffers[]) {
  (void)buffers;
  fixed_one_pole_update_coefficient(s, env, p);
  for (uint32_t c = 0; c < env->channels; c++)
    s->memory[c] = 0;
}

KERNEL_INLINE void fixed_one_pole_run(fixed_one_pole_state *s, const kernel_env *env, const float *const in[],
                                      float *const out[], uint32_t n) {
  const int32_t coefficient = s->coefficient;
  for (uint32_t c = 0; c < env->channels; c++) {
    const float *x = in[c];
    float *y = out[c];
    int32_t low = s->memory[c];
    for (uint32_t i = 0; i < n; i++) {
      const int32_t at = fixed_lengthen(fixed_from_float(x[i])) >> 1;
      low += fixed_share(at - low, coefficient);
#ifdef RESPONSE_HIGH
      y[i] = fixed_unscaled(at - low, 1);
#else
      y[i] = fixed_unscaled(low, 1);
#endif
    }
    s->memory[c] = low;
  }
}
KERNEL_BLOCK(fixed_one_pole)

#ifdef KERNEL_STIMULI
// Signs stay so long that neither output is ever near silence; softer samples shift more places.
void fixed_one_pole_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 0.003f : 1.0f);
}
#endif
