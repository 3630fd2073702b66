// Gated reverberator: a response of pulses that stays level for the hold and then falls by 60 dB over the release, where
// it ends, in steps of a twentieth of both.
#include "velvet.h"

typedef struct {
  float hold, release; // seconds
  uint32_t pulses;
} gated_reverb_params;

typedef velvet_state gated_reverb_state;

uint32_t gated_reverb_state_bytes(const kernel_env *env, const gated_reverb_params *p) {
  (void)env, (void)p;
  return sizeof(gated_reverb_state);
}

static uint32_t gated_reverb_length(const kernel_env *env, const gated_reverb_params *p) {
  return velvet_length(env, p->hold + p->release);
}

uint32_t gated_reverb_buffer_bytes(const kernel_env *env, const gated_reverb_params *p, uint32_t buffer) {
  (void)buffer;
  return gated_reverb_length(env, p) * sizeof(kernel_sample);
}

uint32_t gated_reverb_table_bytes(const kernel_env *env, const gated_reverb_params *p, uint32_t table) {
  (void)env, (void)table;
  return velvet_response_bytes(p->pulses);
}

void gated_reverb_table_fill(const kernel_env *env, const gated_reverb_params *p, uint32_t table, void *at) {
  (void)table;
  float envelope[velvet_steps];
  for (uint32_t j = 0; j < velvet_steps; j++) { // -60 dB are log2(1000) octaves
    const real after = ((real)p->hold + p->release) * ((real)j + (real)0.5) / velvet_steps - p->hold;
    envelope[j] = after > 0 ? (float)kernel_exp2((real)-9.96578428466 * after / p->release) : 1;
  }
  velvet_fill(at, gated_reverb_length(env, p), p->pulses, envelope);
}

void gated_reverb_start(gated_reverb_state *s, const kernel_env *env, const gated_reverb_params *p,
                         void *const buffers[]) {
  velvet_start(s, env, gated_reverb_length(env, p), buffers);
}

KERNEL_INLINE void gated_reverb_run(gated_reverb_state *s, const kernel_env *env, const float *const in[],
                                     float *const out[], uint32_t n) {
  velvet_run(s, env, in, out, n);
}
KERNEL_BLOCK(gated_reverb)

#ifdef KERNEL_STIMULI
void gated_reverb_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  velvet_stimulus(costliest, x, n, channel, block);
}
#endif
