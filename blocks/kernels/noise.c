// Noise: s = 1664525 s + 1013904223 in 32 bits, white = s scaled (D. Knuth, The Art of Computer Programming 2); pink adds
// 7 weighted terms b = p b + q white (P. Kellet 2000, a public 1/f filter made for 44.1 kHz); brown y = p y + q white.
#include "kernel.h"

#if defined(COLOUR_WHITE)
enum { noise_memories = 0 };
#elif defined(COLOUR_PINK)
enum { noise_memories = 7 };
#elif defined(COLOUR_BROWN)
enum { noise_memories = 1 };
#else
#error "noise: define COLOUR_WHITE, COLOUR_PINK or COLOUR_BROWN"
#endif

typedef kernel_nothing noise_params;

typedef struct {
  uint32_t seed;
  float memory[];
} noise_state;

uint32_t noise_state_bytes(const kernel_env *env, const noise_params *p) {
  (void)p;
  return sizeof(noise_state) + noise_memories * env->channels * sizeof(float);
}

// Every noise begins with the same seed; who plays two at once gives the second another after the start.
void noise_start(noise_state *s, const kernel_env *env, const noise_params *p, void *const buffers[]) {
  (void)p, (void)buffers;
  s->seed = 0;
  for (uint32_t i = 0; i < noise_memories * env->channels; i++)
    s->memory[i] = 0;
}

// Loudness of the signed 32-bit number at full scale. Pink takes 0.11, for its terms add up to about 9 at the most.
#ifdef COLOUR_PINK
static const real noise_scale = (real)(0.11 / 2147483648.0);
#else
static const real noise_scale = (real)(1.0 / 2147483648.0);
#endif

KERNEL_INLINE float noise_colour(float b[], real white) {
#if defined(COLOUR_WHITE)
  (void)b;
  return (float)white;
#elif defined(COLOUR_PINK)
  b[0] = (float)((real)0.99886 * b[0] + (real)0.0555179 * white);
  b[1] = (float)((real)0.99332 * b[1] + (real)0.0750759 * white);
  b[2] = (float)((real)0.96900 * b[2] + (real)0.1538520 * white);
  b[3] = (float)((real)0.86650 * b[3] + (real)0.3104856 * white);
  b[4] = (float)((real)0.55000 * b[4] + (real)0.5329522 * white);
  b[5] = (float)((real)-0.7616 * b[5] - (real)0.0168980 * white);
  const real pink = b[0] + b[1] + b[2] + b[3] + b[4] + b[5] + b[6] + (real)0.5362 * white;
  b[6] = (float)((real)0.115926 * white);
  return (float)pink;
#else
  // House judgement: a corner at 20 Hz at 48 kHz, and about a quarter of full scale in the mean.
  b[0] = (float)((real)0.99738 * b[0] + (real)0.03125 * white);
  return b[0];
#endif
}

// Sample by sample, so that the channels take their turns at one generator and a block of any size sounds the same.
KERNEL_INLINE void noise_run(noise_state *s, const kernel_env *env, const float *const in[], float *const out[],
                             uint32_t n) {
  (void)in;
  const uint32_t channels = env->channels;
  uint32_t seed = s->seed;
  for (uint32_t i = 0; i < n; i++) {
    for (uint32_t c = 0; c < channels; c++) {
      seed = 1664525u * seed + 1013904223u;
      out[c][i] = noise_colour(&s->memory[noise_memories * c], (real)(int32_t)seed * noise_scale);
    }
  }
  s->seed = seed;
}
KERNEL_BLOCK(noise)

#ifdef KERNEL_STIMULI
// Noise has no input.
void noise_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  (void)costliest, (void)channel, (void)block;
  for (uint32_t i = 0; i < n; i++)
    x[i] = 0;
}
#endif
