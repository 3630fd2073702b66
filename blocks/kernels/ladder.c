// Nonlinear ladder filter (A. Huovilainen, DAFx-04, Naples 2004, through a public C translation):
//   u = x - 4 r c y5; each of 4 stages: y += g (tanh(u / v) - tanh(y / v)); y5 = (y4[n] + y4[n-1]) / 2,
// the hyperbolic tangent of every stage kept for the next pass. Tuning corrections, t = cutoff / sample rate:
//   g = v (1 - exp(-2 pi t w / passes)), w = 1.8730 t^3 + 0.4955 t^2 - 0.6490 t + 0.9988, c = -3.9364 t^2 + 1.8409 t +
//   0.9968. With two passes a sample the input is held and the second gives the output, or a half-band lowpass makes two
//   samples of one before and one of two behind.
#if defined(OVERSAMPLING_2_FILTERED)
#define HALFBAND_ALLPASSES 6
#include "halfband.h"
#endif
#include "kernel.h"

#if defined(OVERSAMPLING_1)
enum { ladder_passes = 1 };
#elif defined(OVERSAMPLING_2) || defined(OVERSAMPLING_2_FILTERED)
enum { ladder_passes = 2 };
#else
#error "ladder: define OVERSAMPLING_1, OVERSAMPLING_2 or OVERSAMPLING_2_FILTERED"
#endif

typedef struct {
  float cutoff; // hertz
  float resonance;
} ladder_params;

typedef struct {
  float stage[4]; // y
  float kept[4];  // tanh(y / v)
  float average;  // y5
#ifdef OVERSAMPLING_2_FILTERED
  halfband_chain up_first, up_second, down_first, down_second;
#endif
} ladder_ring;

typedef struct {
  float tuning;     // g
  float correction; // 4 c
  float resonance;  // r
  ladder_ring ring[];
} ladder_state;

uint32_t ladder_state_bytes(const kernel_env *env, const ladder_params *p) {
  (void)p;
  return sizeof(ladder_state) + env->channels * sizeof(ladder_ring);
}

// Twice the thermal voltage of a transistor pair, in units of full scale: house judgement of how hard full scale drives.
static const real ladder_voltage = (real)1.22;
static const real ladder_per_voltage = (real)(1.0 / 1.22);

typedef struct {
  real tuning, correction;
} ladder_tuning;

KERNEL_INLINE ladder_tuning ladder_tune(real t) {
  const real warp = ((((real)1.8730 * t + (real)0.4955) * t - (real)0.6490) * t + (real)0.9988) * t;
  ladder_tuning tuned;
  tuned.tuning = ladder_voltage * (1 - kernel_exp(-2 * kernel_pi / ladder_passes * warp));
  tuned.correction = 4 * (((real)-3.9364 * t + (real)1.8409) * t + (real)0.9968);
  return tuned;
}

void ladder_update_tuning(ladder_state *s, const kernel_env *env, const ladder_params *p) {
  const ladder_tuning tuned = ladder_tune(1 / (real)env->sample_rate * p->cutoff);
  s->tuning = (float)tuned.tuning;
  s->correction = (float)tuned.correction;
  s->resonance = p->resonance;
}

void ladder_start(ladder_state *s, const kernel_env *env, const ladder_params *p, void *const buffers[]) {
  (void)buffers;
  ladder_update_tuning(s, env, p);
  for (uint32_t c = 0; c < env->channels; c++)
    s->ring[c] = (ladder_ring){0};
}

// One stage, fed with the hyperbolic tangent of what drives it.
KERNEL_INLINE void ladder_stage(ladder_ring *ring, int stage, real driven, real tuning) {
  ring->stage[stage] = (float)(ring->stage[stage] + tuning * (driven - ring->kept[stage]));
  ring->kept[stage] = (float)kernel_tanh(ring->stage[stage] * ladder_per_voltage);
}

KERNEL_INLINE float ladder_pass(ladder_ring *ring, real tuning, real feedback, real x) {
  const real before = ring->stage[3];
  ladder_stage(ring, 0, kernel_tanh((x - feedback * ring->average) * ladder_per_voltage), tuning);
  ladder_stage(ring, 1, ring->kept[0], tuning);
  ladder_stage(ring, 2, ring->kept[1], tuning);
  ladder_stage(ring, 3, ring->kept[2], tuning);
  ring->average = (float)((real)0.5 * (ring->stage[3] + before));
  return ring->average;
}

#ifdef OVERSAMPLING_2_FILTERED
KERNEL_INLINE float ladder_step(ladder_ring *ring, real tuning, real feedback, real x) {
  real doubled[2] = {halfband_pass(halfband_first, &ring->up_first, x), halfband_pass(halfband_second, &ring->up_second, x)};
  for (int pass = 0; pass < ladder_passes; pass++)
    doubled[pass] = ladder_pass(ring, tuning, feedback, doubled[pass]);
  // At the second pass's moment, where the chain that is a sample late has the first.
  return (float)((real)0.5 * (halfband_pass(halfband_first, &ring->down_first, doubled[1]) +
                              halfband_pass(halfband_second, &ring->down_second, doubled[0])));
}
#else
KERNEL_INLINE float ladder_step(ladder_ring *ring, real tuning, real feedback, real x) {
  for (int pass = 0; pass < ladder_passes; pass++)
    ladder_pass(ring, tuning, feedback, x);
  return ring->average;
}
#endif

KERNEL_INLINE void ladder_run(ladder_state *s, const kernel_env *env, const float *const in[], float *const out[],
                              uint32_t n) {
  const uint32_t channels = env->channels;
  real tuning = s->tuning;
  real feedback = s->correction * s->resonance;
#if defined(MOVED_CUTOFF_AUDIO) || defined(MOVED_RESONANCE_AUDIO)
  // Sample by sample, since all channels share the costly tuning.
  const float *moved = in[channels];
#ifdef MOVED_CUTOFF_AUDIO
  const real period = 1 / (real)env->sample_rate;
#endif
  for (uint32_t i = 0; i < n; i++) {
#ifdef MOVED_CUTOFF_AUDIO
    const ladder_tuning tuned = ladder_tune(period * moved[i]);
    tuning = tuned.tuning;
    feedback = tuned.correction * s->resonance;
#else
    feedback = (real)s->correction * moved[i];
#endif
    for (uint32_t c = 0; c < channels; c++)
      out[c][i] = ladder_step(&s->ring[c], tuning, feedback, in[c][i]);
  }
#else
  for (uint32_t c = 0; c < channels; c++) {
    const float *x = in[c];
    float *y = out[c];
    ladder_ring ring = s->ring[c];
    for (uint32_t i = 0; i < n; i++)
      y[i] = ladder_step(&ring, tuning, feedback, x[i]);
    s->ring[c] = ring;
  }
#endif
}
KERNEL_BLOCK(ladder)

#ifdef KERNEL_STIMULI
// The costliest samples are loud, so that the hyperbolic tangents take an exponential; the costliest cutoffs are those
// that the exponential reduces most.
#ifdef MOVED_RESONANCE_AUDIO
static const float ladder_moved[2][2] = {{0, 0.4f}, {0.8f, 1.2f}};
#else
static const float ladder_moved[2][2] = {{200, 2000}, {8000, 10000}};
#endif

void ladder_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  if (channel == KERNEL_MOVED) {
    kernel_ramp(x, n, ladder_moved[costliest][0], ladder_moved[costliest][1]);
    return;
  }
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 8.0f : 0.25f);
}
#endif
