// A pair of operators: y[n] = sin(2 pi a + I sin(2 pi b)), a += pitch / sample rate, b += ratio pitch / sample rate (J.M.
// Chowning, The Synthesis of Complex Audio Spectra by Means of Frequency Modulation, Journal of the Audio Engineering
// Society 21(7), 1973). Both sines by a polynomial, whose time does not depend on the phase.
#include "phase.h"
#include "turn.h"
#include "unheard.h"

typedef struct {
  float pitch; // hertz
  float ratio; // of the modulator's pitch to the carrier's
  float index; // radians
} fm_pair_params;

typedef struct {
  uint32_t carrier, modulator;
  uint32_t carrier_step, modulator_step;
  float depth; // the index, a turn being 2^24
} fm_pair_state;

uint32_t fm_pair_state_bytes(const kernel_env *env, const fm_pair_params *p) {
  (void)env, (void)p;
  return sizeof(fm_pair_state);
}

void fm_pair_update_pitch(fm_pair_state *s, const kernel_env *env, const fm_pair_params *p) {
  const real per_hertz = phase_per_hertz(env);
  s->carrier_step = phase_increment(per_hertz, p->pitch);
  s->modulator_step = phase_increment(per_hertz, (real)p->ratio * p->pitch);
}

void fm_pair_update_index(fm_pair_state *s, const kernel_env *env, const fm_pair_params *p) {
  (void)env;
  s->depth = (float)(p->index * (real)(16777216.0 / 6.28318530717958647693));
}

void fm_pair_start(fm_pair_state *s, const kernel_env *env, const fm_pair_params *p, void *const buffers[]) {
  (void)buffers;
  s->carrier = 0;
  s->modulator = 0;
  fm_pair_update_pitch(s, env, p);
  fm_pair_update_index(s, env, p);
}

void fm_pair_event_sync(fm_pair_state *s, const kernel_env *env, const kernel_event *event, const float *const in[]) {
  (void)env, (void)in;
  if (event->value) {
    s->carrier = 0;
    s->modulator = 0;
  }
}

KERNEL_INLINE void fm_pair_run(fm_pair_state *s, const kernel_env *env, const float *const in[], float *const out[],
                               uint32_t n) {
  (void)env, (void)in;
  float *y = out[0];
  const uint32_t carrier_step = s->carrier_step, modulator_step = s->modulator_step;
  const real depth = s->depth;
  uint32_t carrier = s->carrier, modulator = s->modulator;
  for (uint32_t i = 0; i < n; i++) {
    // Turns of 2^24 leave room for a depth of 128 of them in a signed word.
    const uint32_t bent = (uint32_t)(int32_t)(depth * turn_sine(modulator)) << 8;
    y[i] = (float)turn_sine(carrier + bent);
    carrier += carrier_step;
    modulator += modulator_step;
  }
  s->carrier = carrier;
  s->modulator = modulator;
}
KERNEL_BLOCK(fm_pair)

UNHEARD_STIMULUS(fm_pair)
