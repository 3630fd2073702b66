// Four operators, sines S of phases a1 to a4 that run at the pitch and at ratios of it, bending one another (J.M. Chowning,
// The Synthesis of Complex Audio Spectra by Means of Frequency Modulation, Journal of the Audio Engineering Society 21(7),
// 1973; several modulators after M. Le Brun, A Derivation of the Spectrum of FM with a Complex Modulating Wave, Computer
// Music Journal 1(4), 1977, both from memory). Stack: S(a1 + I2 S(a2 + I3 S(a3 + I4 S(a4)))). Fan: S(a1 + I2 S(a2) + I3
// S(a3) + I4 S(a4)). Pairs: (S(a1 + I2 S(a2)) + S(a3 + I4 S(a4))) / 2.
#include "phase.h"
#include "turn.h"
#include "unheard.h"

#if !defined(ROUTE_STACK) && !defined(ROUTE_FAN) && !defined(ROUTE_PAIRS)
#error "fm-four: define ROUTE_STACK, ROUTE_FAN or ROUTE_PAIRS"
#endif

typedef struct {
  float pitch;                     // hertz
  float ratio_2, ratio_3, ratio_4; // of an operator's pitch to the first's
  float index_2, index_3, index_4; // radians
} fm_four_params;

typedef struct {
  uint32_t phase[4], step[4];
  float depth[3]; // the indices, a turn being 2^24
} fm_four_state;

uint32_t fm_four_state_bytes(const kernel_env *env, const fm_four_params *p) {
  (void)env, (void)p;
  return sizeof(fm_four_state);
}

void fm_four_update_pitch(fm_four_state *s, const kernel_env *env, const fm_four_params *p) {
  const real per_hertz = phase_per_hertz(env), pitch = p->pitch;
  s->step[0] = phase_increment(per_hertz, pitch);
  s->step[1] = phase_increment(per_hertz, p->ratio_2 * pitch);
  s->step[2] = phase_increment(per_hertz, p->ratio_3 * pitch);
  s->step[3] = phase_increment(per_hertz, p->ratio_4 * pitch);
}

void fm_four_update_index(fm_four_state *s, const kernel_env *env, const fm_four_params *p) {
  (void)env;
  const real per_radian = (real)(16777216.0 / 6.28318530717958647693);
  s->depth[0] = (float)(per_radian * p->index_2);
  s->depth[1] = (float)(per_radian * p->index_3);
  s->depth[2] = (float)(per_radian * p->index_4);
}

static void fm_four_restart(fm_four_state *s) {
  for (uint32_t k = 0; k < 4; k++)
    s->phase[k] = 0;
}

void fm_four_start(fm_four_state *s, const kernel_env *env, const fm_four_params *p, void *const buffers[]) {
  (void)buffers;
  fm_four_restart(s);
  fm_four_update_pitch(s, env, p);
  fm_four_update_index(s, env, p);
}

void fm_four_event_sync(fm_four_state *s, const kernel_env *env, const kernel_event *event, const float *const in[]) {
  (void)env, (void)in;
  if (event->value)
    fm_four_restart(s);
}

// A sine whose phase is bent, a turn of the bend being 2^24: a signed word holds 128 of them.
KERNEL_INLINE real fm_four_bent(uint32_t phase, real bend) {
  return turn_sine(phase + ((uint32_t)(int32_t)bend << 8));
}

KERNEL_INLINE void fm_four_run(fm_four_state *s, const kernel_env *env, const float *const in[], float *const out[],
                               uint32_t n) {
  (void)env, (void)in;
  float *y = out[0];
  const real depth_2 = s->depth[0], depth_4 = s->depth[2];
#ifndef ROUTE_PAIRS
  const real depth_3 = s->depth[1];
#endif
  const uint32_t step_1 = s->step[0], step_2 = s->step[1], step_3 = s->step[2], step_4 = s->step[3];
  uint32_t a1 = s->phase[0], a2 = s->phase[1], a3 = s->phase[2], a4 = s->phase[3];
  for (uint32_t i = 0; i < n; i++) {
#if defined(ROUTE_STACK)
    const real third = fm_four_bent(a3, depth_4 * turn_sine(a4));
    const real second = fm_four_bent(a2, depth_3 * third);
    y[i] = (float)fm_four_bent(a1, depth_2 * second);
#elif defined(ROUTE_FAN)
    y[i] = (float)fm_four_bent(a1, depth_2 * turn_sine(a2) + depth_3 * turn_sine(a3) + depth_4 * turn_sine(a4));
#else
    const real one = fm_four_bent(a1, depth_2 * turn_sine(a2)), other = fm_four_bent(a3, depth_4 * turn_sine(a4));
    y[i] = (float)((real)0.5 * (one + other));
#endif
    a1 += step_1;
    a2 += step_2;
    a3 += step_3;
    a4 += step_4;
  }
  s->phase[0] = a1;
  s->phase[1] = a2;
  s->phase[2] = a3;
  s->phase[3] = a4;
}
KERNEL_BLOCK(fm_four)

UNHEARD_STIMULUS(fm_four)
