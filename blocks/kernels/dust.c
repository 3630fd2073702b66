// Dust: impulses of random height at random moments, density of them a second in the mean: with u even between 0 and 1
// and p = density / sample rate, y[n] = u / p where u < p, else 0 (any text on random processes); u from s = 1664525 s
// + 1013904223 in 32 bits (D. Knuth, The Art of Computer Programming 2).
#include "kernel.h"
#include "unheard.h"

typedef struct {
  float density; // hertz
} dust_params;

typedef struct {
  uint32_t seed;
  uint32_t most; // p, in 2^-32
  float scale;   // 1 over that
} dust_state;

uint32_t dust_state_bytes(const kernel_env *env, const dust_params *p) {
  (void)env, (void)p;
  return sizeof(dust_state);
}

// Denser than one a sample there is none.
void dust_update_density(dust_state *s, const kernel_env *env, const dust_params *p) {
  const real exact = (real)p->density / env->sample_rate * (real)4294967296.0;
  const real held = exact < (real)4294967040.0 ? exact : (real)4294967040.0; // the greatest that single precision keeps
  s->most = (uint32_t)held;
  s->scale = (float)(1 / held);
}

// Every dust begins with the same seed; who plays two at once gives the second another after the start.
void dust_start(dust_state *s, const kernel_env *env, const dust_params *p, void *const buffers[]) {
  (void)buffers;
  s->seed = 0;
  dust_update_density(s, env, p);
}

// The height is worked out each time and masked, so that no sample is a costly one.
KERNEL_INLINE void dust_run(dust_state *s, const kernel_env *env, const float *const in[], float *const out[],
                            uint32_t n) {
  (void)env, (void)in;
  float *y = out[0];
  const uint32_t most = s->most;
  const real scale = s->scale;
  uint32_t seed = s->seed;
  for (uint32_t i = 0; i < n; i++) {
    seed = 1664525u * seed + 1013904223u;
    const uint32_t falls = -(uint32_t)(seed < most);
    y[i] = kernel_float(kernel_bits((float)(scale * (real)seed)) & falls);
  }
  s->seed = seed;
}
KERNEL_BLOCK(dust)

UNHEARD_STIMULUS(dust)
