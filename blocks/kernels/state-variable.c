// State-variable filter, lowpass, bandpass and highpass from two integrators s1 and s2; k = 1 / q.
// Trapezoidal (V. Zavalishin, The Art of VA Filter Design): g = tan(pi cutoff / sample rate), d = 1 / (1 + g (g + k)),
//   hp = d (x - (k + g) s1 - s2), bp = g hp + s1, lp = g bp + s2, s1 = bp + g hp, s2 = lp + g bp.
// Chamberlin (Musical Applications of Microprocessors, 2nd edition, pages 490-492): f = 2 sin(pi cutoff / sample rate),
//   lp += f bp, hp = x - lp - k bp, bp += f hp; stable below about a sixth of the sample rate.
#include "kernel.h"

#if !defined(FORM_TRAPEZOIDAL) && !defined(FORM_CHAMBERLIN)
#error "state-variable: define FORM_TRAPEZOIDAL or FORM_CHAMBERLIN"
#endif

typedef struct {
  float cutoff; // hertz
  float q;
} state_variable_params;

typedef struct {
  float band, low; // s1 and s2
} state_variable_memory;

typedef struct {
  float tuning;  // g or f
  float damping; // k
#ifdef FORM_TRAPEZOIDAL
  float resolution; // d, which resolves the loop without a delay
#endif
  state_variable_memory memory[];
} state_variable_state;

uint32_t state_variable_state_bytes(const kernel_env *env, const state_variable_params *p) {
  (void)p;
  return sizeof(state_variable_state) + env->channels * sizeof(state_variable_memory);
}

// Half the angle by which the cutoff turns in a sample.
KERNEL_INLINE real state_variable_tuning(real half_angle) {
#ifdef FORM_TRAPEZOIDAL
  return kernel_tan(half_angle);
#else
  return 2 * kernel_sin(half_angle);
#endif
}

void state_variable_update_tuning(state_variable_state *s, const kernel_env *env, const state_variable_params *p) {
  s->tuning = (float)state_variable_tuning(kernel_pi / env->sample_rate * p->cutoff);
}

void state_variable_update_damping(state_variable_state *s, const kernel_env *env, const state_variable_params *p) {
  (void)env;
  s->damping = (float)((real)1 / p->q);
}

#ifdef FORM_TRAPEZOIDAL
KERNEL_INLINE real state_variable_resolution(real tuning, real damping) {
  return 1 / (1 + tuning * (tuning + damping));
}
#endif

void state_variable_update_resolution(state_variable_state *s, const kernel_env *env, const state_variable_params *p) {
  (void)env, (void)p;
#ifdef FORM_TRAPEZOIDAL
  s->resolution = (float)state_variable_resolution(s->tuning, s->damping);
#else
  (void)s; // nothing to resolve: the loop has a delay
#endif
}

void state_variable_start(state_variable_state *s, const kernel_env *env, const state_variable_params *p,
                          void *const buffers[]) {
  (void)buffers;
  state_variable_update_tuning(s, env, p);
  state_variable_update_damping(s, env, p);
  state_variable_update_resolution(s, env, p);
  for (uint32_t c = 0; c < env->channels; c++)
    s->memory[c] = (state_variable_memory){0};
}

typedef struct {
  real tuning, damping, resolution;
} state_variable_setting;

KERNEL_INLINE void state_variable_step(state_variable_memory *memory, const state_variable_setting *set, real x,
                                       float *low, float *band, float *high) {
#ifdef FORM_TRAPEZOIDAL
  const real hp = set->resolution * (x - (set->damping + set->tuning) * memory->band - memory->low);
  const real rise = set->tuning * hp;
  const real bp = rise + memory->band;
  const real climb = set->tuning * bp;
  const real lp = climb + memory->low;
  memory->band = (float)(bp + rise);
  memory->low = (float)(lp + climb);
#else
  const real lp = memory->low + set->tuning * memory->band;
  const real hp = x - lp - set->damping * memory->band;
  const real bp = memory->band + set->tuning * hp;
  memory->low = (float)lp;
  memory->band = (float)bp;
#endif
  *low = (float)lp;
  *band = (float)bp;
  *high = (float)hp;
}

KERNEL_INLINE void state_variable_run(state_variable_state *s, const kernel_env *env, const float *const in[],
                                      float *const out[], uint32_t n) {
  const uint32_t channels = env->channels;
  float *const *low = out, *const *band = out + channels, *const *high = out + 2 * channels;
  state_variable_setting set = {.tuning = s->tuning, .damping = s->damping};
#ifdef FORM_TRAPEZOIDAL
  set.resolution = s->resolution;
#endif
#if defined(MOVED_CUTOFF_AUDIO) || defined(MOVED_Q_AUDIO)
  // Sample by sample, since all channels share the costly setting.
  const float *moved = in[channels];
#ifdef MOVED_CUTOFF_AUDIO
  const real half_angle_per_hertz = kernel_pi / env->sample_rate;
#endif
  for (uint32_t i = 0; i < n; i++) {
#ifdef MOVED_CUTOFF_AUDIO
    set.tuning = state_variable_tuning(half_angle_per_hertz * moved[i]);
#else
    set.damping = (real)1 / moved[i];
#endif
#ifdef FORM_TRAPEZOIDAL
    set.resolution = state_variable_resolution(set.tuning, set.damping);
#endif
    for (uint32_t c = 0; c < channels; c++)
      state_variable_step(&s->memory[c], &set, in[c][i], &low[c][i], &band[c][i], &high[c][i]);
  }
#else
  for (uint32_t c = 0; c < channels; c++) {
    const float *x = in[c];
    float *l = low[c], *b = band[c], *h = high[c];
    state_variable_memory memory = s->memory[c];
    for (uint32_t i = 0; i < n; i++)
      state_variable_step(&memory, &set, x[i], &l[i], &b[i], &h[i]);
    s->memory[c] = memory;
  }
#endif
}
KERNEL_BLOCK(state_variable)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal; the costliest cutoffs are high, where the tangent reduces its argument and
// divides, and the sine its argument as far as Chamberlin's form is stable.
#if defined(MOVED_Q_AUDIO)
static const float state_variable_moved[2][2] = {{1, 4}, {40, 50}};
#elif defined(FORM_TRAPEZOIDAL)
static const float state_variable_moved[2][2] = {{200, 2000}, {19000, 20000}};
#else
static const float state_variable_moved[2][2] = {{200, 2000}, {6000, 7000}};
#endif

void state_variable_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  if (channel == KERNEL_MOVED) {
    kernel_ramp(x, n, state_variable_moved[costliest][0], state_variable_moved[costliest][1]);
    return;
  }
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-38f : 1.0f);
}
#endif
