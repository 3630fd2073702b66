// Channel vocoder (H. Dudley, Remaking Speech, JASA 11(2), 1939): a voice and a carrier go through bandpasses of the same
// frequencies, and each band of the carrier is made as loud as the voice is in it:
//   y[n] = sum over k of e_k[n] H_k(carrier), e_k += c (abs H_k(voice) - e_k), c = 1 - exp(-1 / (smoothing rate)).
// Centres lie at equal ratios r from the lowest to the highest, F_k = lowest r^k, and neighbours meet where both are 3 dB
// down, B = F (sqrt r - 1 / sqrt r). A bandpass is one biquad or two alike in a row, in transposed direct form II, from the
// bilinear transform with t = tan(pi F / rate), d = t B/F, of two in a row d / sqrt(sqrt 2 - 1), n = 1 / (1 + d + t^2):
//   v = b x, b = d n; y = v + s1, s1 = s2 - a1 y, s2 = -v - a2 y, a1 = 2 (t^2 - 1) n, a2 = (1 - d + t^2) n.
#include "kernel.h"

#if defined(ORDER_2)
enum { vocoder_stages = 1 };
static const real vocoder_widening = 1;
#elif defined(ORDER_4)
enum { vocoder_stages = 2 };
static const real vocoder_widening = (real)1.55377397403003730734;
#else
#error "vocoder: define ORDER_2 or ORDER_4"
#endif

typedef struct {
  uint32_t bands;
  float lowest, highest; // hertz
  float smoothing;       // seconds
} vocoder_params;

typedef struct {
  float s1, s2;
} vocoder_stage;

typedef struct {
  float b, a1, a2;
  float envelope;
  vocoder_stage voice[vocoder_stages], carrier[vocoder_stages];
} vocoder_band;

typedef struct {
  uint32_t bands;
  float follow; // coefficient of the envelopes
  vocoder_band band[];
} vocoder_state;

uint32_t vocoder_state_bytes(const kernel_env *env, const vocoder_params *p) {
  (void)env;
  return sizeof(vocoder_state) + p->bands * sizeof(vocoder_band);
}

void vocoder_update_follow(vocoder_state *s, const kernel_env *env, const vocoder_params *p) {
  s->follow = (float)(1 - kernel_exp(-1 / ((real)p->smoothing * env->sample_rate)));
}

// A band that would lie above 0.45 of the sample rate is held there.
void vocoder_start(vocoder_state *s, const kernel_env *env, const vocoder_params *p, void *const buffers[]) {
  (void)buffers;
  s->bands = p->bands;
  vocoder_update_follow(s, env, p);
  const real half_step = kernel_exp2(kernel_log2((real)p->highest / p->lowest) / (2 * (real)(p->bands - 1)));
  const real width = (half_step - 1 / half_step) * vocoder_widening;
  const real most = (real)0.45 * env->sample_rate;
  real centre = p->lowest;
  for (uint32_t k = 0; k < p->bands; k++, centre *= half_step * half_step) {
    const real t = kernel_tan(kernel_pi / env->sample_rate * (centre < most ? centre : most));
    const real damped = t * width, scale = 1 / (1 + damped + t * t);
    s->band[k] = (vocoder_band){
        .b = (float)(damped * scale),
        .a1 = (float)(2 * (t * t - 1) * scale),
        .a2 = (float)((1 - damped + t * t) * scale),
    };
  }
}

KERNEL_INLINE real vocoder_pass(vocoder_stage *stage, real b, real a1, real a2, real x) {
  for (int k = 0; k < vocoder_stages; k++) {
    const real v = b * x;
    x = v + stage[k].s1;
    stage[k].s1 = (float)(stage[k].s2 - a1 * x);
    stage[k].s2 = (float)(-v - a2 * x);
  }
  return x;
}

KERNEL_INLINE void vocoder_run(vocoder_state *s, const kernel_env *env, const float *const in[], float *const out[],
                               uint32_t n) {
  (void)env;
  const float *x = in[0], *carrier = in[1];
  float *y = out[0];
  const real follow = s->follow;
  for (uint32_t i = 0; i < n; i++)
    y[i] = 0;
  for (uint32_t k = 0; k < s->bands; k++) {
    vocoder_band band = s->band[k];
    const real b = band.b, a1 = band.a1, a2 = band.a2;
    for (uint32_t i = 0; i < n; i++) {
      const real voice = vocoder_pass(band.voice, b, a1, a2, x[i]);
      const real tone = vocoder_pass(band.carrier, b, a1, a2, carrier[i]);
      band.envelope = (float)(band.envelope + follow * (kernel_abs(voice) - band.envelope));
      y[i] += (float)(band.envelope * tone);
    }
    s->band[k] = band;
  }
}
KERNEL_BLOCK(vocoder)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal.
void vocoder_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-38f : 0.7f);
}
#endif
