// Spectral gate: each bin is multiplied by g, which rises at once to 1 where the bin is above the threshold and else
// falls by a constant share a hop to its least.
#include "spectrum.h"

typedef struct {
  uint32_t frame, overlap; // choices of the catalog
  float threshold;         // decibels, of a sine that fills the bin
  float closed;            // decibels
  float release;           // seconds
} spectral_gate_params;

typedef struct {
  spectrum frames;
  float *gains;      // of each bin of each channel
  float level;       // squared, of a bin
  float least, fall; // gain, and what is left of it after a hop
} spectral_gate_state;

uint32_t spectral_gate_state_bytes(const kernel_env *env, const spectral_gate_params *p) {
  (void)env, (void)p;
  return sizeof(spectral_gate_state);
}

uint32_t spectral_gate_buffer_bytes(const kernel_env *env, const spectral_gate_params *p, uint32_t buffer) {
  if (buffer == 3)
    return spectrum_points(p->frame) / 2 * env->channels * sizeof(float);
  return spectrum_buffer_bytes(p->frame, env->channels, buffer);
}

uint32_t spectral_gate_table_bytes(const kernel_env *env, const spectral_gate_params *p, uint32_t table) {
  (void)env, (void)table;
  return spectrum_points(p->frame) * sizeof(float);
}

void spectral_gate_table_fill(const kernel_env *env, const spectral_gate_params *p, uint32_t table, void *to) {
  (void)env;
  spectrum_table_fill(p->frame, table, to);
}

// A sine of amplitude 1 in the middle of a bin stands there at points / pi, the half of the window's sum.
void spectral_gate_update_levels(spectral_gate_state *s, const kernel_env *env, const spectral_gate_params *p) {
  const real full = (real)s->frames.points / kernel_pi;
  const real level = full * kernel_exp2((real)p->threshold * (real)0.166096405);
  s->level = (float)(level * level);
  s->least = (float)kernel_exp2((real)p->closed * (real)0.166096405);
  s->fall = (float)kernel_exp2((real)-1.44269504 * (real)s->frames.hop / ((real)p->release * (real)env->sample_rate));
}

void spectral_gate_start(spectral_gate_state *s, const kernel_env *env, const spectral_gate_params *p,
                         void *const buffers[]) {
  spectrum_start(&s->frames, p->frame, p->overlap, buffers, buffers + 4);
  s->gains = buffers[3];
  spectral_gate_update_levels(s, env, p);
  for (uint32_t i = 0; i < s->frames.points / 2 * env->channels; i++)
    s->gains[i] = s->least;
}

FOURIER_HOP void spectral_gate_hop_frame(spectral_gate_state *s, const kernel_env *env) {
  const uint32_t half = s->frames.points / 2;
  const real least = s->least, fall = s->fall, level = s->level;
  for (uint32_t c = 0; c < env->channels; c++) {
    spectrum_analyse(&s->frames, c);
    float *bins = s->frames.bins, *gains = s->gains + c * half;
    for (uint32_t k = 0; k < half; k++) {
      const real re = bins[2 * k], im = bins[2 * k + 1];
      real g = least + fall * ((real)gains[k] - least);
      if (re * re + im * im > level)
        g = 1;
      gains[k] = (float)g;
      bins[2 * k] = (float)(g * re);
      bins[2 * k + 1] = (float)(g * im);
    }
    spectrum_speak(&s->frames, c);
  }
}

KERNEL_INLINE void spectral_gate_run(spectral_gate_state *s, const kernel_env *env, const float *const in[],
                                     float *const out[], uint32_t n) {
  for (uint32_t done = 0; done < n;) {
    const uint32_t run = n - done < s->frames.left ? n - done : s->frames.left;
    spectrum_pass(&s->frames, env->channels, in, out, done, run);
    if (s->frames.left == 0)
      spectral_gate_hop_frame(s, env);
    done += run;
  }
}
KERNEL_BLOCK(spectral_gate)

#ifdef KERNEL_STIMULI
static __attribute__((unused)) void spectral_gate_rewind(spectral_gate_state *s) {
  spectrum_rewind(&s->frames);
}

// The costliest samples are denormal.
void spectral_gate_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-38f : 0.5f);
}
#endif
