// State-variable filter in fixed point, lowpass, bandpass and highpass from two integrators with a delay (H. Chamberlin,
// Musical Applications of Microprocessors, 2nd edition, pages 490-492): lp += f bp, hp = x - lp - k bp, bp += f hp, f = 2
// sin(pi cutoff / sample rate), k = 1 / q. Signals have three bits above full scale (Q3.28 in Arm's notation, from
// memory) and are held there. A tuning beyond 1, a sixth of the sample rate, is held too, so that no setting is unstable.
#define WORD_Q31
#include "fixed.h"
#include "fixed-sum.h"

enum { fixed_state_variable_headroom = 3 };

typedef struct {
  float cutoff; // hertz
  float q;
} fixed_state_variable_params;

typedef struct {
  int32_t band, low;
} fixed_state_variable_memory;

typedef struct {
  int32_t tuning;  // f
  int32_t damping; // k / 2, so that it is a word
  fixed_state_variable_memory memory[];
} fixed_state_variable_state;

uint32_t fixed_state_variable_state_bytes(const kernel_env *env, const fixed_state_variable_params *p) {
  (void)p;
  return sizeof(fixed_state_variable_state) + env->channels * sizeof(fixed_state_variable_memory);
}

void fixed_state_variable_update_tuning(fixed_state_variable_state *s, const kernel_env *env,
                                        const fixed_state_variable_params *p) {
  s->tuning = fixed_from_float((float)(2 * kernel_sin(kernel_pi / env->sample_rate * p->cutoff)));
}

void fixed_state_variable_update_damping(fixed_state_variable_state *s, const kernel_env *env,
                                         const fixed_state_variable_params *p) {
  (void)env;
  s->damping = fixed_from_float((float)((real)0.5 / p->q));
}

void fixed_state_variable_start(fixed_state_variable_state *s, const kernel_env *env,
                                const fixed_state_variable_params *p, void *const buffers[]) {
  (void)buffers;
  fixed_state_variable_update_tuning(s, env, p);
  fixed_state_variable_update_damping(s, env, p);
  for (uint32_t c = 0; c < env->channels; c++)
    s->memory[c] = (fixed_state_variable_memory){0};
}

KERNEL_INLINE void fixed_state_variable_run(fixed_state_variable_state *s, const kernel_env *env,
                                            const float *const in[], float *const out[], uint32_t n) {
  const uint32_t channels = env->channels;
  const int32_t tuning = s->tuning, damping = s->damping;
  for (uint32_t c = 0; c < channels; c++) {
    const float *x = in[c];
    float *low = out[c], *band = out[channels + c], *high = out[2 * channels + c];
    int32_t lp = s->memory[c].low, bp = s->memory[c].band;
    for (uint32_t i = 0; i < n; i++) {
      const int32_t at = fixed_scaled(x[i], fixed_state_variable_headroom);
      const int32_t loss = fixed_long_product(bp, damping);
      lp = fixed_sum(lp, fixed_long_product(bp, tuning));
      // ~lp is -lp less a step, and never overflows.
      const int32_t hp = fixed_sum(fixed_sum(at, ~lp), fixed_sum(-loss, -loss));
      bp = fixed_sum(bp, fixed_long_product(hp, tuning));
      low[i] = fixed_unscaled(lp, fixed_state_variable_headroom);
      band[i] = fixed_unscaled(bp, fixed_state_variable_headroom);
      high[i] = fixed_unscaled(hp, fixed_state_variable_headroom);
    }
    s->memory[c] = (fixed_state_variable_memory){.band = bp, .low = lp};
  }
}
KERNEL_BLOCK(fixed_state_variable)

#ifdef KERNEL_STIMULI
// Softer samples shift more places; a slow square under the noise keeps all three outputs from silence.
void fixed_state_variable_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = (kernel_noise(&seed) + (i & 8 ? -1.0f : 1.0f)) * (costliest ? 0.003f : 0.4f);
}
#endif
