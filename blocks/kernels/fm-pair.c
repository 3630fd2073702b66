// Pair of operators: m[n] = sin(2 pi b[n] + feedback (m[n-1] + m[n-2]) / 2), y[n] = sin(2 pi a[n] + index m[n]); the phases
// a and b step by pitch / sample rate and by ratio times that, wrapping in 32 bits (J. Chowning, The Synthesis of Complex
// Audio Spectra by Means of Frequency Modulation, Journal of the Audio Engineering Society 21(7), 1973).
#include "kernel.h"

#if !defined(METHOD_LIBRARY) && !defined(METHOD_POLYNOMIAL)
#error "fm-pair: define METHOD_LIBRARY or METHOD_POLYNOMIAL"
#endif

typedef struct {
  float pitch; // hertz
  float ratio;
  float index, feedback; // radians
} fm_pair_params;

typedef struct {
  uint32_t carrier, modulator;                     // phases; a turn is 2^32
  uint32_t carrier_increment, modulator_increment; // a sample
  uint32_t ratio;                                  // in 65536ths
  float index, feedback; // in 2^24ths of a turn, the feedback half of it for each of two values
  float last, before;    // of the modulator
} fm_pair_state;

uint32_t fm_pair_state_bytes(const kernel_env *env, const fm_pair_params *p) {
  (void)env, (void)p;
  return sizeof(fm_pair_state);
}

static const real fm_pair_per_radian = (real)(16777216 / (2 * 3.14159265358979323846));

KERNEL_INLINE uint32_t fm_pair_increment(real turns_per_hertz, real pitch) {
  return (uint32_t)(turns_per_hertz * pitch);
}

// The modulator's increment; turns that are whole drop out.
KERNEL_INLINE uint32_t fm_pair_geared(uint32_t increment, uint32_t ratio) {
  return (uint32_t)((uint64_t)increment * ratio >> 16);
}

void fm_pair_update_increments(fm_pair_state *s, const kernel_env *env, const fm_pair_params *p) {
  s->carrier_increment = fm_pair_increment(4294967296.0f / (real)env->sample_rate, p->pitch);
  s->modulator_increment = fm_pair_geared(s->carrier_increment, s->ratio);
}

void fm_pair_update_ratio(fm_pair_state *s, const kernel_env *env, const fm_pair_params *p) {
  (void)env;
  s->ratio = (uint32_t)(65536.0f * (real)p->ratio);
  s->modulator_increment = fm_pair_geared(s->carrier_increment, s->ratio);
}

void fm_pair_update_index(fm_pair_state *s, const kernel_env *env, const fm_pair_params *p) {
  (void)env;
  s->index = (float)(fm_pair_per_radian * p->index);
}

void fm_pair_update_feedback(fm_pair_state *s, const kernel_env *env, const fm_pair_params *p) {
  (void)env;
  s->feedback = (float)(fm_pair_per_radian / 2 * p->feedback);
}

KERNEL_INLINE void fm_pair_rewind(fm_pair_state *s) {
  s->carrier = 0;
  s->modulator = 0;
  s->last = 0;
  s->before = 0;
}

void fm_pair_start(fm_pair_state *s, const kernel_env *env, const fm_pair_params *p, void *const buffers[]) {
  (void)buffers;
  fm_pair_rewind(s);
  s->carrier_increment = 0;
  fm_pair_update_ratio(s, env, p);
  fm_pair_update_increments(s, env, p);
  fm_pair_update_index(s, env, p);
  fm_pair_update_feedback(s, env, p);
}

void fm_pair_event_sync(fm_pair_state *s, const kernel_env *env, const kernel_event *event, const float *const in[]) {
  (void)env, (void)in;
  if (event->value)
    fm_pair_rewind(s);
}

// The sine of a phase that is turned on by 2^24ths of a turn, at most 127 turns.
KERNEL_INLINE real fm_pair_sine(uint32_t phase, real turned) {
  phase += (uint32_t)(int32_t)turned << 8;
#ifdef METHOD_LIBRARY
  return kernel_sin((real)(int32_t)phase * (kernel_pi / 2147483648.0f));
#else
  // The second and third quarter are mirrored onto the fourth and first: there the two upper bits differ.
  if ((phase ^ phase << 1) & 0x80000000u)
    phase = 0x80000000u - phase;
  const real quarters = (real)(int32_t)phase * (real)(1.0 / 1073741824.0);
  const real square = quarters * quarters;
  // Minimax fit of our own, by Remez exchange; greatest error 5.9e-7.
  return quarters * ((real)1.57079101108 +
                     square * ((real)-0.645892849548 + square * ((real)0.0794343446169 + square * (real)-0.00433309529249)));
#endif
}

KERNEL_INLINE void fm_pair_run(fm_pair_state *s, const kernel_env *env, const float *const in[], float *const out[],
                               uint32_t n) {
  float *y = out[0];
  uint32_t carrier = s->carrier, modulator = s->modulator;
  const real index = s->index, feedback = s->feedback;
  float last = s->last, before = s->before;
#ifdef MOVED_PITCH_AUDIO
  const float *pitch = in[0];
  const real turns_per_hertz = 4294967296.0f / (real)env->sample_rate;
  const uint32_t ratio = s->ratio;
#else
  (void)env, (void)in;
  const uint32_t carrier_increment = s->carrier_increment, modulator_increment = s->modulator_increment;
#endif
  for (uint32_t i = 0; i < n; i++) {
    const float m = (float)fm_pair_sine(modulator, feedback * ((real)last + before));
    before = last;
    last = m;
    y[i] = (float)fm_pair_sine(carrier, index * m);
#ifdef MOVED_PITCH_AUDIO
    const uint32_t carrier_increment = fm_pair_increment(turns_per_hertz, pitch[i]);
    const uint32_t modulator_increment = fm_pair_geared(carrier_increment, ratio);
#endif
    carrier += carrier_increment;
    modulator += modulator_increment;
  }
  s->carrier = carrier;
  s->modulator = modulator;
  s->last = last;
  s->before = before;
}
KERNEL_BLOCK(fm_pair)

#ifdef KERNEL_STIMULI
// A moved pitch. No value of it costs more than another; the quarters of the wave do, and a high pitch meets all of them
// within few samples.
void fm_pair_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  (void)channel, (void)block;
  kernel_ramp(x, n, costliest ? 10000.0f : 5000.0f, costliest ? 11000.0f : 7000.0f);
}
#endif
