// Formant filter: bandpass biquads side by side, one for each formant of a vowel, each with its level and with signs that
// take turns, so that no notch opens between two of them (D. H. Klatt, JASA 67(3), 1980). One bandpass in transposed direct
// form II, from the bilinear transform with t = tan(pi F / sample rate) and n = 1 / (1 + t B/F + t^2):
//   v = b x, b = g n t B/F; y = v + s1, s1 = s2 - a1 y, s2 = -v - a2 y, a1 = 2 (t^2 - 1) n, a2 = (1 - t B/F + t^2) n.
#include "kernel.h"

typedef struct {
  uint32_t formants;
  float vowel; // 0 to 9, in the order of the table
} formant_filter_params;

typedef struct {
  float b, a1, a2;
} formant_filter_coefficients;

// A formant is its coefficients and then the memory of every channel.
typedef struct {
  uint32_t formants;
  float formant[];
} formant_filter_state;

enum {
  formant_filter_words = sizeof(formant_filter_coefficients) / sizeof(float),
  formant_filter_memories = 2,
  formant_filter_most = 5,
  formant_filter_vowels = 10,
};

// Frequencies in hertz and levels in decibels of heed, hid, head, had, hod, hawed, hood, who'd, hud and heard: G. E. Peterson
// and H. L. Barney, JASA 24(2), 1952, averages of men. The fourth and fifth formant and all bandwidths are Klatt's, the
// levels of these two house judgement.
static const float formant_filter_hertz[formant_filter_most][formant_filter_vowels] = {
    {270, 390, 530, 660, 730, 570, 440, 300, 640, 490},
    {2290, 1990, 1840, 1720, 1090, 840, 1020, 870, 1190, 1350},
    {3010, 2550, 2480, 2410, 2440, 2410, 2240, 2240, 2390, 1690},
    {3300, 3300, 3300, 3300, 3300, 3300, 3300, 3300, 3300, 3300},
    {3750, 3750, 3750, 3750, 3750, 3750, 3750, 3750, 3750, 3750},
};
static const float formant_filter_level[formant_filter_most][formant_filter_vowels] = {
    {-4, -3, -2, -1, -1, 0, -1, -3, -1, -5},
    {-24, -23, -17, -12, -5, -7, -12, -19, -10, -15},
    {-28, -27, -24, -22, -28, -34, -34, -43, -27, -20},
    {-38, -38, -38, -38, -38, -38, -38, -38, -38, -38},
    {-44, -44, -44, -44, -44, -44, -44, -44, -44, -44},
};
static const float formant_filter_bandwidth[formant_filter_most] = {50, 70, 110, 250, 200};

KERNEL_INLINE uint32_t formant_filter_formant_words(const kernel_env *env) {
  return formant_filter_words + formant_filter_memories * env->channels;
}

uint32_t formant_filter_state_bytes(const kernel_env *env, const formant_filter_params *p) {
  return sizeof(formant_filter_state) + p->formants * formant_filter_formant_words(env) * sizeof(float);
}

// A straight line from vowel to vowel.
KERNEL_INLINE real formant_filter_between(const float *row, uint32_t vowel, real rest) {
  return row[vowel] + rest * (row[vowel + 1] - row[vowel]);
}

void formant_filter_update_formants(formant_filter_state *s, const kernel_env *env, const formant_filter_params *p) {
  uint32_t vowel = (uint32_t)p->vowel;
  vowel = vowel < formant_filter_vowels - 1 ? vowel : formant_filter_vowels - 2;
  const real rest = p->vowel - (real)vowel;
  const real half_angle_per_hertz = kernel_pi / env->sample_rate;
  // The levels are those of a vowel that was sung, whose source falls by 6 dB an octave, as a sawtooth does: what is
  // higher than the first formant is raised by as much.
  real raise = 1 / formant_filter_between(formant_filter_hertz[0], vowel, rest);
  for (uint32_t k = 0; k < s->formants; k++) {
    const real hertz = formant_filter_between(formant_filter_hertz[k], vowel, rest);
    const real level = formant_filter_between(formant_filter_level[k], vowel, rest);
    const real gain = raise * hertz * kernel_exp2((real)(1 / 6.02059991327962390427) * level);
    const real t = kernel_tan(half_angle_per_hertz * hertz);
    const real damped = t * formant_filter_bandwidth[k] / hertz;
    const real scale = 1 / (1 + damped + t * t);
    *(formant_filter_coefficients *)&s->formant[k * formant_filter_formant_words(env)] = (formant_filter_coefficients){
        (float)(gain * damped * scale), (float)(2 * (t * t - 1) * scale), (float)((1 - damped + t * t) * scale)};
    raise = -raise;
  }
}

void formant_filter_start(formant_filter_state *s, const kernel_env *env, const formant_filter_params *p,
                          void *const buffers[]) {
  (void)buffers;
  s->formants = p->formants;
  for (uint32_t i = 0; i < p->formants * formant_filter_formant_words(env); i++)
    s->formant[i] = 0;
  formant_filter_update_formants(s, env, p);
}

KERNEL_INLINE void formant_filter_run(formant_filter_state *s, const kernel_env *env, const float *const in[],
                                      float *const out[], uint32_t n) {
  const uint32_t stride = formant_filter_formant_words(env), formants = s->formants;
  for (uint32_t c = 0; c < env->channels; c++) {
    const float *x = in[c];
    float *y = out[c];
    for (uint32_t i = 0; i < n; i++) {
      const real here = x[i];
      real sum = 0;
      float *formant = s->formant;
      for (uint32_t k = 0; k < formants; k++) {
        const formant_filter_coefficients *set = (const formant_filter_coefficients *)formant;
        float *memory = formant + formant_filter_words + formant_filter_memories * c;
        const real v = set->b * here;
        const real band = v + memory[0];
        memory[0] = (float)(memory[1] - set->a1 * band);
        memory[1] = (float)(-v - set->a2 * band);
        sum += band;
        formant += stride;
      }
      y[i] = (float)sum;
    }
  }
}
KERNEL_BLOCK(formant_filter)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal.
void formant_filter_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-38f : 1.0f);
}
#endif
