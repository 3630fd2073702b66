// Compressor, feed-forward, its detector behind the gain computer (D. Giannoulis, M. Massberg and J. Reiss, Digital Dynamic
// Range Compressor Design, Journal of the Audio Engineering Society 60(6), 2012):
//   o = max(0, level - threshold), g = (1 - 1 / ratio) o; e[n] = e[n-1] + c (g - e[n-1]), c = 1 - exp(-1 / (time rate)) of
//   the attack where g > e, else of the release; y = x gain(makeup - e[n]),
// the level that of the greatest swing over the channels. A soft knee of width W bends in by a parabola: with t = level -
// threshold + W / 2, g = (1 - 1 / ratio) t^2 / (2 W) for t in 0..W, and the straight line beyond. Levels are counted in
// doublings, 20 log10(2) dB each.
#include "kernel.h"

#if !defined(KNEE_HARD) && !defined(KNEE_SOFT)
#error "compressor: define KNEE_HARD or KNEE_SOFT"
#endif

typedef struct {
  float threshold; // decibels
  float ratio;
  float width;           // decibels, of a soft knee
  float attack, release; // seconds
  float makeup;          // decibels
} compressor_params;

typedef struct {
  float reduction, threshold, makeup; // doublings
  float slope;                        // 1 - 1 / ratio
  float attack, release;              // coefficients
#ifdef KNEE_SOFT
  float half; // of the knee's width, doublings
  float bend; // 1 / (2 width)
#endif
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
#ifdef KNEE_SOFT
  s->half = (float)(compressor_doublings * p->width / 2);
  s->bend = 1 / (4 * s->half);
#endif
  compressor_update_threshold(s, env, p);
  compressor_update_ratio(s, env, p);
  compressor_update_makeup(s, env, p);
  compressor_update_attack(s, env, p);
  compressor_update_release(s, env, p);
}

// How far the gain wants to go down before the slope, at a level over the threshold or below it.
KERNEL_INLINE real compressor_over(const compressor_state *s, real over) {
#ifdef KNEE_SOFT
  const real half = s->half, into = over + half;
  return into <= 0 ? 0 : over < half ? into * into * s->bend : over;
#else
  (void)s;
  return over > 0 ? over : 0;
#endif
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
    const real wanted = slope * compressor_over(s, kernel_log2(found) - threshold);
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
