// Pitch to frequency: y = reference 2^x, x in octaves, once a control period (the definition of an octave).
#include "kernel.h"

typedef struct {
  float reference; // hertz
} pitch_to_frequency_params;

typedef struct {
  float reference;
} pitch_to_frequency_state;

uint32_t pitch_to_frequency_state_bytes(const kernel_env *env, const pitch_to_frequency_params *p) {
  (void)env, (void)p;
  return sizeof(pitch_to_frequency_state);
}

void pitch_to_frequency_update_reference(pitch_to_frequency_state *s, const kernel_env *env,
                                         const pitch_to_frequency_params *p) {
  (void)env;
  s->reference = p->reference;
}

void pitch_to_frequency_start(pitch_to_frequency_state *s, const kernel_env *env, const pitch_to_frequency_params *p,
                              void *const buffers[]) {
  (void)buffers;
  pitch_to_frequency_update_reference(s, env, p);
}

void pitch_to_frequency_tick(pitch_to_frequency_state *s, const kernel_env *env, const float *const in[],
                             float *const out[]) {
  (void)env;
  *out[0] = (float)(s->reference * kernel_exp2((real)*in[0]));
}

#ifdef KERNEL_STIMULI
// Pitches within three octaves above the reference; the costliest as far below it.
void pitch_to_frequency_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = (costliest ? -1.6f : 1.6f) + 1.4f * kernel_noise(&seed);
}
#endif
