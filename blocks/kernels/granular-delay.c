// Granular delay: y[n] = c sum over grains of h(k) w(n - 1 - p - L - (1 - r) k), h(k) = 4 (k / L) (1 - k / L), k from 0 to below
// L and round again with p and r drawn anew, p from 0 to T - 1, r = speed + spread u, u from -1 to 1; L = grain x sample
// rate, T = time x sample rate, c = 1 / sqrt(8 grains / 15), for which grains that are not alike have the power of w, the
// input. The grains begin at even distances.
#include "ring.h"

typedef struct {
  float time, grain;   // seconds
  float speed, spread; // ratios
  uint32_t grains;
} granular_delay_params;

typedef struct {
  uint32_t place; // words behind the one that is written next
  uint32_t age;   // k
  float drift;    // 1 - r
} granular_delay_grain;

typedef struct {
  kernel_sample *line; // channels interleaved
  uint32_t length, index; // words
  uint32_t seed;
  uint32_t grains, span; // span: L
  float range;           // T
  float speed, spread;
  float turn, scale; // 1 / L, and 4 c
  granular_delay_grain grain[];
} granular_delay_state;

uint32_t granular_delay_state_bytes(const kernel_env *env, const granular_delay_params *p) {
  (void)env;
  return sizeof(granular_delay_state) + p->grains * sizeof(granular_delay_grain);
}

// Words of the line: one more for the writing, which comes before the reads.
static uint32_t granular_delay_length(const kernel_env *env, const granular_delay_params *p) {
  return ring_length(env, p->time + 2 * p->grain) + env->channels;
}

uint32_t granular_delay_buffer_bytes(const kernel_env *env, const granular_delay_params *p, uint32_t buffer) {
  (void)buffer;
  return granular_delay_length(env, p) * sizeof(kernel_sample);
}

// A number from 0 to below 1, by a 32-bit xorshift generator with the shifts 13, 17, 5 (G. Marsaglia, Journal of
// Statistical Software 8(14), 2003).
static inline real granular_delay_random(uint32_t *seed) {
  uint32_t x = *seed;
  x ^= x << 13;
  x ^= x >> 17;
  x ^= x << 5;
  *seed = x;
  return (real)(x >> 8) * (real)(1.0 / 16777216.0);
}

static inline void granular_delay_begin(granular_delay_state *s, granular_delay_grain *grain, uint32_t channels) {
  grain->place = (uint32_t)(granular_delay_random(&s->seed) * s->range) * channels;
  grain->drift = (float)(1 - s->speed - s->spread * (2 * granular_delay_random(&s->seed) - 1));
  grain->age = 0;
}

void granular_delay_update_speed(granular_delay_state *s, const kernel_env *env, const granular_delay_params *p) {
  (void)env;
  s->speed = p->speed;
  s->spread = p->spread;
}

void granular_delay_start(granular_delay_state *s, const kernel_env *env, const granular_delay_params *p,
                          void *const buffers[]) {
  *s = (granular_delay_state){
      .line = buffers[0],
      .length = granular_delay_length(env, p),
      .seed = 0x2545f491u,
      .grains = p->grains,
      .span = (uint32_t)(p->grain * env->sample_rate),
      .range = p->time * env->sample_rate,
      .scale = (float)(4 / kernel_sqrt((real)p->grains * (real)(8.0 / 15.0))),
  };
  s->turn = 1.0f / (float)s->span;
  granular_delay_update_speed(s, env, p);
  for (uint32_t g = 0; g < p->grains; g++) {
    granular_delay_begin(s, &s->grain[g], env->channels);
    s->grain[g].age = g * s->span / p->grains;
  }
}

KERNEL_INLINE void granular_delay_run(granular_delay_state *s, const kernel_env *env, const float *const in[],
                                      float *const out[], uint32_t n) {
  const uint32_t channels = env->channels, length = s->length, grains = s->grains, span = s->span;
  const real turn = s->turn, scale = s->scale;
  uint32_t index = s->index;
  for (uint32_t i = 0; i < n; i++) {
    for (uint32_t c = 0; c < channels; c++) {
      s->line[index + c] = kernel_to_sample(in[c][i]);
      out[c][i] = 0;
    }
    for (uint32_t g = 0; g < grains; g++) {
      granular_delay_grain *grain = &s->grain[g];
      const real age = (real)grain->age, part = age * turn;
      const real weight = part * (1 - part) * scale;
      const real distance = (real)span + grain->drift * age;
      const uint32_t from = index >= grain->place ? index - grain->place : index + length - grain->place;
      for (uint32_t c = 0; c < channels; c++)
        out[c][i] += (float)(weight * ring_read(s->line + c, length, channels, from, distance));
      if (++grain->age >= span)
        granular_delay_begin(s, grain, channels);
    }
    index += channels;
    if (index == length)
      index = 0;
  }
  s->index = index;
}
KERNEL_BLOCK(granular_delay)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal.
void granular_delay_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-40f : 0.5f);
}
#endif
