// Level meter for a display, p the greatest swing of all channels. Peak: e[n] = e[n-1] + a (p - e[n-1]) where p > e, else d
// e[n-1], a = 1 - exp(-1 / (1.4 ms rate)), d = exp(-ln 10 / (1.7 s rate)), which holds to the tone bursts and the return of
// IEC 60268-10 type I (from memory). Mean: a needle with a spring, w += g (pi / 2 p - e) - h w, e += w, that reaches 99 % in
// 300 ms and passes by 1.25 %, as IEC 60268-17 has it (from memory); pi / 2 makes a sine read its peak.
#include "dynamics.h"

#if !defined(BALLISTICS_PEAK) && !defined(BALLISTICS_MEAN)
#error "level-meter: define BALLISTICS_PEAK or BALLISTICS_MEAN"
#endif

typedef kernel_nothing level_meter_params;

typedef struct {
  float level;
#ifdef BALLISTICS_PEAK
  float attack, fall;
#else
  float speed;        // a sample
  float spring, drag; // g and h
#endif
} level_meter_state;

uint32_t level_meter_state_bytes(const kernel_env *env, const level_meter_params *p) {
  (void)env, (void)p;
  return sizeof(level_meter_state);
}

void level_meter_start(level_meter_state *s, const kernel_env *env, const level_meter_params *p, void *const buffers[]) {
  (void)p, (void)buffers;
  s->level = 0;
#ifdef BALLISTICS_PEAK
  s->attack = (float)(1 - kernel_exp(-1 / ((real)0.0014 * env->sample_rate)));
  s->fall = (float)kernel_exp((real)-2.30258509299 / ((real)1.7 * env->sample_rate));
#else
  // A second-order step passes its end by exp(-pi z / sqrt(1 - z^2)), 1.25 % for a damping z of 0.81272, and with that
  // comes to 99 % at 4.0536 over its turning rate.
  s->speed = 0;
  const real turn = (real)(4.0536 / 0.3) / env->sample_rate;
  s->spring = (float)(turn * turn);
  s->drag = (float)((real)(2 * 0.81272) * turn);
#endif
}

KERNEL_INLINE void level_meter_run(level_meter_state *s, const kernel_env *env, const float *const in[],
                                   float *const out[], uint32_t n) {
  const uint32_t channels = env->channels;
  float level = s->level;
#ifdef BALLISTICS_PEAK
  const real attack = s->attack, fall = s->fall;
#else
  const real spring = s->spring, drag = s->drag;
  float speed = s->speed;
#endif
  for (uint32_t i = 0; i < n; i++) {
#ifdef BALLISTICS_PEAK
    // A swing of -120 dB stands in for silence, in which the level would fall until it is denormal.
    const real found = dynamics_swing(in, channels, i, (real)1e-6);
    level = (float)(found > level ? level + attack * (found - level) : fall * level);
#else
    const real found = (real)1.57079632679 * dynamics_swing(in, channels, i, (real)1e-6);
    speed = (float)(speed + spring * (found - level) - drag * speed);
    level = level + speed;
#endif
  }
  s->level = level;
#ifdef BALLISTICS_MEAN
  s->speed = speed;
#endif
  *out[0] = level;
}
KERNEL_BLOCK(level_meter)

#ifdef KERNEL_STIMULI
// Loud samples that are all but as loud as one another, so that each raises a peak, and silent ones that let it fall by
// turns. The costliest raise it at every sample.
void level_meter_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = (0.7f + 1e-4f * kernel_noise(&seed)) * (!costliest && i & 1 ? 1e-7f : 1.0f);
}
#endif
