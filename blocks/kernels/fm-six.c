// Six operators, sines S of phases a1 to a6 that run at the pitch and at ratios of it, bending one another (J.M. Chowning,
// The Synthesis of Complex Audio Spectra by Means of Frequency Modulation, Journal of the Audio Engineering Society 21(7),
// 1973; several modulators after M. Le Brun, A Derivation of the Spectrum of FM with a Complex Modulating Wave, Computer
// Music Journal 1(4), 1977, both from memory). Stacks: (S(a1 + I2 S(a2 + I3 S(a3))) + S(a4 + I5 S(a5 + I6 S(a6)))) / 2.
// Fan: S(a1 + I2 S(a2) + I3 S(a3) + I4 S(a4) + I5 S(a5) + I6 S(a6)). Pairs: (S(a1 + I2 S(a2)) + S(a3 + I4 S(a4)) + S(a5 +
// I6 S(a6))) / 3.
#include "phase.h"
#include "turn.h"
#include "unheard.h"

#if !defined(ROUTE_STACKS) && !defined(ROUTE_FAN) && !defined(ROUTE_PAIRS)
#error "fm-six: define ROUTE_STACKS, ROUTE_FAN or ROUTE_PAIRS"
#endif

typedef struct {
  float pitch;                                       // hertz
  float ratio_2, ratio_3, ratio_4, ratio_5, ratio_6; // of an operator's pitch to the first's
  float index_2, index_3, index_4, index_5, index_6; // radians
} fm_six_params;

typedef struct {
  uint32_t phase[6], step[6];
  float depth[5]; // the indices, a turn being 2^24
} fm_six_state;

uint32_t fm_six_state_bytes(const kernel_env *env, const fm_six_params *p) {
  (void)env, (void)p;
  return sizeof(fm_six_state);
}

void fm_six_update_pitch(fm_six_state *s, const kernel_env *env, const fm_six_params *p) {
  const real per_hertz = phase_per_hertz(env), pitch = p->pitch;
  s->step[0] = phase_increment(per_hertz, pitch);
  s->step[1] = phase_increment(per_hertz, p->ratio_2 * pitch);
  s->step[2] = phase_increment(per_hertz, p->ratio_3 * pitch);
  s->step[3] = phase_increment(per_hertz, p->ratio_4 * pitch);
  s->step[4] = phase_increment(per_hertz, p->ratio_5 * pitch);
  s->step[5] = phase_increment(per_hertz, p->ratio_6 * pitch);
}

void fm_six_update_index(fm_six_state *s, const kernel_env *env, const fm_six_params *p) {
  (void)env;
  const real per_radian = (real)(16777216.0 / 6.28318530717958647693);
  s->depth[0] = (float)(per_radian * p->index_2);
  s->depth[1] = (float)(per_radian * p->index_3);
  s->depth[2] = (float)(per_radian * p->index_4);
  s->depth[3] = (float)(per_radian * p->index_5);
  s->depth[4] = (float)(per_radian * p->index_6);
}

static void fm_six_restart(fm_six_state *s) {
  for (uint32_t k = 0; k < 6; k++)
    s->phase[k] = 0;
#ifdef KERNEL_STIMULI
  for (uint32_t k = 0; k < 6; k++) // so that no operator at a quarter of the sample rate meets the sine's zeros alone
    s->phase[k] = (k + 1) * 0x13579bdfu;
#endif
}

void fm_six_start(fm_six_state *s, const kernel_env *env, const fm_six_params *p, void *const buffers[]) {
  (void)buffers;
  fm_six_restart(s);
  fm_six_update_pitch(s, env, p);
  fm_six_update_index(s, env, p);
}

void fm_six_event_sync(fm_six_state *s, const kernel_env *env, const kernel_event *event, const float *const in[]) {
  (void)env, (void)in;
  if (event->value)
    fm_six_restart(s);
}

// Operator k and its phase's step; the bend's turn is 2^24, so that a signed word holds 128 of them.
KERNEL_INLINE real fm_six_bent(fm_six_state *s, int k, real bend) {
  const uint32_t phase = s->phase[k];
  s->phase[k] = phase + s->step[k];
  return turn_sine(phase + ((uint32_t)(int32_t)bend << 8));
}

// Operator k, which nothing bends, as a bend of another.
KERNEL_INLINE real fm_six_bend(fm_six_state *s, int k) {
  const uint32_t phase = s->phase[k];
  s->phase[k] = phase + s->step[k];
  return s->depth[k - 1] * turn_sine(phase);
}

KERNEL_INLINE void fm_six_run(fm_six_state *s, const kernel_env *env, const float *const in[], float *const out[],
                              uint32_t n) {
  (void)env, (void)in;
  float *y = out[0];
  for (uint32_t i = 0; i < n; i++) {
#if defined(ROUTE_STACKS)
    const real one = fm_six_bent(s, 0, s->depth[0] * fm_six_bent(s, 1, fm_six_bend(s, 2)));
    const real other = fm_six_bent(s, 3, s->depth[3] * fm_six_bent(s, 4, fm_six_bend(s, 5)));
    y[i] = (float)((real)0.5 * (one + other));
#elif defined(ROUTE_FAN)
    real bend = fm_six_bend(s, 1);
    for (int k = 2; k < 6; k++)
      bend += fm_six_bend(s, k);
    y[i] = (float)fm_six_bent(s, 0, bend);
#else
    real sum = fm_six_bent(s, 0, fm_six_bend(s, 1));
    for (int k = 2; k < 6; k += 2)
      sum += fm_six_bent(s, k, fm_six_bend(s, k + 1));
    y[i] = (float)((real)(1.0 / 3.0) * sum);
#endif
  }
}
KERNEL_BLOCK(fm_six)

UNHEARD_STIMULUS(fm_six)
