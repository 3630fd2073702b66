// Compressor, feed-forward, its detector behind the gain computer (D. Giannoulis, M. Massberg and J. Reiss, Digital Dynamic
// Range Compressor Design, Journal of the Audio Engineering Society 60(6), 2012):
//   o = max(0, level - threshold), g = (1 - 1 / ratio) o; e[n] = e[n-1] + c (g - e[n-1]), c = 1 - exp(-1 / (time rate)) of
//   the attack where g > e, else of the release; y = x gain(makeup - e[n]),
// the level that of the greatest swing over the channels. Levels are counted in doublings, 20 log10(2) dB each.
#include "kernel.h"

typedef struct {
  float threshold; // decibels
  float ratio;
  float attack, release; // seconds
  float makeup;          // decibels
} compressor_params;

typedef struct {
  float reduction, threshold, makeup; // doublings
  float slope;                        // 1 - 1 / ratio
  float attack, release;              // coefficients
} compressor_state;

uint32_t compressor_state_bytes(const kernel_env *env, const compressor_params *p) {
  (void)env, (void)p;
  return sizeof(compressor_state);
}

static const real compressor_doublings = (real)(1 / 6.02059991327962390427); // in a decibel

// A swing of -180 dB stands in for silence, which has no logarithm.
static const real compressor_least = (real)1e-9;

void compressor_update_threshold(compressor_state *s, const kernel_env *env, const compressor_params *p) {
  (void)env;
  s->threshold = (float)(compressor_doublings * p->threshold);
}

void compressor_update_ratio(compressor_state *s, const kernel_env *env, const compressor_params *p) {
  (void)env;
  s->slope = (float)(1 - 1 / (real)p->ratio);
}

void compressor_update_makeup(compressor_state *s, const kernel_env *env, const compressor_params *p) {
  (void)env;
  s->makeup = (float)(compressor_doublings * p->makeup);
}

KERNEL_INLINE float compressor_coefficient(const kernel_env *env, real seconds) {
  return (float)(1 - kernel_exp(-1 / (seconds * env->sample_rate)));
}

void compressor_update_attack(compressor_state *s, const kernel_env *env, const compressor_params *p) {
  s->attack = compressor_coefficient(env, p->attack);
}

void compressor_update_release(compressor_state *s, const kernel_env *env, const compressor_params *p) {
  s->release = compressor_coefficient(env, p->release);
}

void compressor_start(compressor_state *s, const kernel_env *env, const compressor_params *p, void *const buffers[]) {
  (void)buffers;
  s->reduction = 0;
  compressor_update_threshold(s, env, p);
  compressor_update_ratio(s, env, p);
  compressor_update_makeup(s, env, p);
  compressor_update_attack(s, env, p);
  compressor_update_release(s, env, p);
}

KERNEL_INLINE void compressor_run(compressor_state *s, const kernel_env *env, const float *const in[],
                                  float *const out[], uint32_t n) {
  const uint32_t channels = env->channels;
  const real threshold = s->threshold, slope = s->slope, makeup = s->makeup, attack = s->attack, release = s->release;
  float reduction = s->reduction;
  for (uint32_t i = 0; i < n; i++) {
    real found = compressor_least;
    for (uint32_t c = 0; c < channels; c++) {
      const real swing = kernel_abs(in[c][i]);
      found = swing > found ? swing : found;
    }
    const real over = kernel_log2(found) - threshold;
    const real wanted = over > 0 ? slope * over : 0;
    reduction = (float)(reduction + (wanted > reduction ? attack : release) * (wanted - reduction));
    const real gain = kernel_exp2(makeup - reduction);
    for (uint32_t c = 0; c < channels; c++)
      out[c][i] = (float)(gain * in[c][i]);
  }
  s->reduction = reduction;
}
KERNEL_BLOCK(compressor)

#ifdef KERNEL_STIMULI
// Loud samples and such as lie below every threshold take turns, so that the reduction rises and falls by turns. The
// costliest are all loud, so that all lie over the threshold, and rise and fall.
void compressor_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = (2 + kernel_noise(&seed)) * (i & 1 ? costliest ? 0.7f : 1e-5f : 1.3f);
}
#endif
