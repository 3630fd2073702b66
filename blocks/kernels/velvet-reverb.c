// Velvet-noise reverberator: a response of pulses that falls by 60 dB over the decay, where it ends, in steps of 3 dB.
#include "velvet.h"

typedef struct {
  float decay; // seconds
  uint32_t pulses;
} velvet_reverb_params;

typedef velvet_state velvet_reverb_state;

uint32_t velvet_reverb_state_bytes(const kernel_env *env, const velvet_reverb_params *p) {
  (void)env, (void)p;
  return sizeof(velvet_reverb_state);
}

uint32_t velvet_reverb_buffer_bytes(const kernel_env *env, const velvet_reverb_params *p, uint32_t buffer) {
  (void)buffer;
  return velvet_length(env, p->decay) * sizeof(kernel_sample);
}

uint32_t velvet_reverb_table_bytes(const kernel_env *env, const velvet_reverb_params *p, uint32_t table) {
  (void)env, (void)table;
  return velvet_response_bytes(p->pulses);
}

void velvet_reverb_table_fill(const kernel_env *env, const velvet_reverb_params *p, uint32_t table, void *at) {
  (void)table;
  float envelope[velvet_steps];
  for (uint32_t j = 0; j < velvet_steps; j++) // -60 dB are log2(1000) octaves
    envelope[j] = (float)kernel_exp2((real)-9.96578428466 * ((real)j + (real)0.5) / velvet_steps);
  velvet_fill(at, velvet_length(env, p->decay), p->pulses, envelope);
}

void velvet_reverb_start(velvet_reverb_state *s, const kernel_env *env, const velvet_reverb_params *p,
                         void *const buffers[]) {
  velvet_start(s, env, velvet_length(env, p->decay), buffers);
}

KERNEL_INLINE void velvet_reverb_run(velvet_reverb_state *s, const kernel_env *env, const float *const in[],
                                     float *const out[], uint32_t n) {
  velvet_run(s, env, in, out, n);
}
KERNEL_BLOCK(velvet_reverb)

#ifdef KERNEL_STIMULI
void velvet_reverb_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  velvet_stimulus(costliest, x, n, channel, block);
}
#endif
