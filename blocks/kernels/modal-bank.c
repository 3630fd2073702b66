// Modal bank: a struck body as a sum of resonators, y_k[n] = b_k x[n] + a1_k y_k[n-1] + a2_k y_k[n-2] (J. O. Smith, Physical
// Audio Signal Processing, modal synthesis), b = a sin w, a1 = 2 r cos w, a2 = -r^2, so that a mode answers a knock of 1 with
// a r^n sin((n + 1) w). Mode k of a stiff string or bar lies at k pitch sqrt((1 + B k^2) / (1 + B)) (N. H. Fletcher and T. D.
// Rossing, The Physics of Musical Instruments), falls by 60 dB in decay k^-fading, and is as loud as k^-tilt, all amplitudes
// together 0.9. What would lie above half the sample rate stays silent.
#include "kernel.h"

typedef struct {
  float pitch; // hertz
  uint32_t modes;
  float stiffness; // B
  float decay;     // seconds
  float fading, tilt;
} modal_bank_params;

typedef struct {
  float b, a1, a2;
  float amplitude;
  float y1, y2;
} modal_bank_mode;

typedef struct {
  uint32_t modes;
  modal_bank_mode mode[];
} modal_bank_state;

uint32_t modal_bank_state_bytes(const kernel_env *env, const modal_bank_params *p) {
  (void)env;
  return sizeof(modal_bank_state) + p->modes * sizeof(modal_bank_mode);
}

void modal_bank_update_pitch(modal_bank_state *s, const kernel_env *env, const modal_bank_params *p) {
  const real stiffness = p->stiffness;
  const real first = p->pitch / ((real)env->sample_rate * kernel_sqrt(1 + stiffness));
  for (uint32_t k = 0; k < s->modes; k++) {
    modal_bank_mode *mode = &s->mode[k];
    const real number = (real)(k + 1);
    const real turns = first * number * kernel_sqrt(1 + stiffness * number * number);
    const real heard = turns < (real)0.5; // 1 or 0
    // A quarter of the angle lies below an eighth of a turn, where a sine needs no folding; it is doubled twice.
    // A silent mode takes the first one's: any will do, and an update costs the same wherever the pitch lies.
    const real quarter = kernel_sin(kernel_pi / 2 * (turns < (real)0.5 ? turns : first));
    const real half = 2 * quarter * kernel_sqrt(1 - quarter * quarter);
    const real sine = 2 * half * (1 - 2 * quarter * quarter), cosine = 1 - 2 * half * half;
    mode->a1 = (float)(2 * kernel_sqrt(-mode->a2) * cosine);
    mode->b = (float)(heard * mode->amplitude * sine);
    mode->y1 = (float)(heard * mode->y1);
    mode->y2 = (float)(heard * mode->y2);
  }
}

// What does not move: how long each mode rings and how loud it is.
static void modal_bank_shape(modal_bank_state *s, const kernel_env *env, const modal_bank_params *p) {
  const real octaves_in_60_dB = (real)9.96578428466208704576; // 3 log2 10
  const real fall = octaves_in_60_dB / (p->decay * (real)env->sample_rate);
  real sum = 0;
  for (uint32_t k = 0; k < s->modes; k++) {
    const real height = kernel_log2((real)(k + 1)); // octaves above the first
    s->mode[k].a2 = (float)-kernel_exp2(-2 * fall * kernel_exp2(p->fading * height));
    s->mode[k].amplitude = (float)kernel_exp2(-p->tilt * height);
    sum += s->mode[k].amplitude;
  }
  const real scale = (real)0.9 / sum; // house judgement, some room at the top
  for (uint32_t k = 0; k < s->modes; k++)
    s->mode[k].amplitude = (float)(scale * s->mode[k].amplitude);
}

void modal_bank_start(modal_bank_state *s, const kernel_env *env, const modal_bank_params *p, void *const buffers[]) {
  (void)buffers;
  s->modes = p->modes;
  for (uint32_t k = 0; k < s->modes; k++)
    s->mode[k] = (modal_bank_mode){0};
  modal_bank_shape(s, env, p);
  modal_bank_update_pitch(s, env, p);
}

// Mode by mode over the block, so that each has its coefficients and memory in registers.
KERNEL_INLINE void modal_bank_run(modal_bank_state *s, const kernel_env *env, const float *const in[], float *const out[],
                                  uint32_t n) {
  (void)env;
  const float *x = in[0];
  float *y = out[0];
  const uint32_t modes = s->modes;
  for (uint32_t i = 0; i < n; i++)
    y[i] = 0;
  for (uint32_t k = 0; k < modes; k++) {
    modal_bank_mode *mode = &s->mode[k];
    const real b = mode->b, a1 = mode->a1, a2 = mode->a2;
    float y1 = mode->y1, y2 = mode->y2;
    for (uint32_t i = 0; i < n; i++) {
      const float here = (float)(b * x[i] + a2 * y2 + a1 * y1);
      y2 = y1;
      y1 = here;
      y[i] += here;
    }
    mode->y1 = y1;
    mode->y2 = y2;
  }
}
KERNEL_BLOCK(modal_bank)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal.
void modal_bank_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-38f : 1.0f);
}
#endif
