// Spectral frame: bins[k] = sum of w[i] x[i] e^(-2 pi j k i / N) over the last N samples; y is the sum of the frames
// transformed back under the same window. Nothing is done to the bins.
#include "spectrum.h"

typedef struct {
  uint32_t frame, overlap; // choices of the catalog
} spectral_frame_params;

typedef struct {
  spectrum frames;
} spectral_frame_state;

uint32_t spectral_frame_state_bytes(const kernel_env *env, const spectral_frame_params *p) {
  (void)env, (void)p;
  return sizeof(spectral_frame_state);
}

uint32_t spectral_frame_buffer_bytes(const kernel_env *env, const spectral_frame_params *p, uint32_t buffer) {
  return spectrum_buffer_bytes(p->frame, env->channels, buffer);
}

uint32_t spectral_frame_table_bytes(const kernel_env *env, const spectral_frame_params *p, uint32_t table) {
  (void)env, (void)table;
  return spectrum_points(p->frame) * sizeof(float);
}

void spectral_frame_table_fill(const kernel_env *env, const spectral_frame_params *p, uint32_t table, void *to) {
  (void)env;
  spectrum_table_fill(p->frame, table, to);
}

void spectral_frame_start(spectral_frame_state *s, const kernel_env *env, const spectral_frame_params *p,
                          void *const buffers[]) {
  (void)env;
  spectrum_start(&s->frames, p->frame, p->overlap, buffers, buffers + 3);
}

FOURIER_HOP void spectral_frame_hop_frame(spectral_frame_state *s, const kernel_env *env) {
  for (uint32_t c = 0; c < env->channels; c++) {
    spectrum_analyse(&s->frames, c);
    spectrum_speak(&s->frames, c);
  }
}

KERNEL_INLINE void spectral_frame_run(spectral_frame_state *s, const kernel_env *env, const float *const in[],
                                      float *const out[], uint32_t n) {
  for (uint32_t done = 0; done < n;) {
    const uint32_t run = n - done < s->frames.left ? n - done : s->frames.left;
    spectrum_pass(&s->frames, env->channels, in, out, done, run);
    if (s->frames.left == 0)
      spectral_frame_hop_frame(s, env);
    done += run;
  }
}
KERNEL_BLOCK(spectral_frame)

#ifdef KERNEL_STIMULI
static __attribute__((unused)) void spectral_frame_rewind(spectral_frame_state *s) {
  spectrum_rewind(&s->frames);
}

// The costliest samples are denormal.
void spectral_frame_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-38f : 0.5f);
}
#endif
