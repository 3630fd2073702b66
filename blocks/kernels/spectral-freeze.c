// Spectral freeze: while its gate is open the bins of the moment sound on, each turned on from frame to frame by as
// much as it had turned since the frame before: Y[k] = r[k] Y[k] with r[k] = X[k] P[k]* / |X[k] P[k]|, the bins X of
// the moment and P of the frame before it.
#include "spectrum.h"

typedef struct {
  uint32_t frame, overlap; // choices of the catalog
} spectral_freeze_params;

typedef struct {
  spectrum frames;
  float *kept, *turned; // bins that sound on, or of the frame before, and how they turn, of each channel
  uint32_t held, begun; // 1 while the gate is open, and from the first frame of that on
} spectral_freeze_state;

uint32_t spectral_freeze_state_bytes(const kernel_env *env, const spectral_freeze_params *p) {
  (void)env, (void)p;
  return sizeof(spectral_freeze_state);
}

uint32_t spectral_freeze_buffer_bytes(const kernel_env *env, const spectral_freeze_params *p, uint32_t buffer) {
  return spectrum_buffer_bytes(p->frame, env->channels, buffer > 2 ? 0 : buffer);
}

uint32_t spectral_freeze_table_bytes(const kernel_env *env, const spectral_freeze_params *p, uint32_t table) {
  (void)env, (void)table;
  return spectrum_points(p->frame) * sizeof(float);
}

void spectral_freeze_table_fill(const kernel_env *env, const spectral_freeze_params *p, uint32_t table, void *to) {
  (void)env;
  spectrum_table_fill(p->frame, table, to);
}

void spectral_freeze_start(spectral_freeze_state *s, const kernel_env *env, const spectral_freeze_params *p,
                           void *const buffers[]) {
  (void)env;
  spectrum_start(&s->frames, p->frame, p->overlap, buffers, buffers + 5);
  s->kept = buffers[3];
  s->turned = buffers[4];
  s->held = 0;
  s->begun = 0;
}

void spectral_freeze_event_hold(spectral_freeze_state *s, const kernel_env *env, const kernel_event *event,
                                const float *const in[]) {
  (void)env, (void)in;
  s->held = event->value;
  s->begun = 0;
}

// How far each bin turned since the frame before. A bin that was silent stays as it is.
static inline void spectral_freeze_begin(const float *bins, const float *before, float *turned, uint32_t points) {
  for (uint32_t i = 0; i < points; i += 2) {
    const real a = bins[i], b = bins[i + 1], c = before[i], d = before[i + 1];
    const real re = a * c + b * d, im = b * c - a * d;
    const real size = kernel_sqrt(re * re + im * im);
    const real scale = size > (real)1e-20 ? 1 / size : 0;
    turned[i] = (float)(size > (real)1e-20 ? re * scale : 1);
    turned[i + 1] = (float)(im * scale);
  }
  turned[0] = turned[1] = 1; // zero and half the sample rate, which are real
}

FOURIER_HOP void spectral_freeze_hop_frame(spectral_freeze_state *s, const kernel_env *env) {
  const uint32_t points = s->frames.points;
  float *bins = s->frames.bins;
  for (uint32_t c = 0; c < env->channels; c++) {
    float *kept = s->kept + c * points, *turned = s->turned + c * points;
    if (!s->begun) {
      spectrum_analyse(&s->frames, c);
      if (s->held)
        spectral_freeze_begin(bins, kept, turned, points);
      for (uint32_t i = 0; i < points; i++)
        kept[i] = bins[i];
    } else {
      bins[0] = kept[0], bins[1] = kept[1];
      for (uint32_t i = 2; i < points; i += 2) {
        const real re = kept[i], im = kept[i + 1], a = turned[i], b = turned[i + 1];
        bins[i] = kept[i] = (float)(re * a - im * b);
        bins[i + 1] = kept[i + 1] = (float)(re * b + im * a);
      }
    }
    spectrum_speak(&s->frames, c);
  }
  s->begun = s->held;
}

KERNEL_INLINE void spectral_freeze_run(spectral_freeze_state *s, const kernel_env *env, const float *const in[],
                                       float *const out[], uint32_t n) {
  for (uint32_t done = 0; done < n;) {
    const uint32_t run = n - done < s->frames.left ? n - done : s->frames.left;
    spectrum_pass(&s->frames, env->channels, in, out, done, run);
    if (s->frames.left == 0)
      spectral_freeze_hop_frame(s, env);
    done += run;
  }
}
KERNEL_BLOCK(spectral_freeze)

#ifdef KERNEL_STIMULI
static __attribute__((unused)) void spectral_freeze_rewind(spectral_freeze_state *s) {
  spectrum_rewind(&s->frames);
}

// The costliest samples are denormal.
void spectral_freeze_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-38f : 0.5f);
}
#endif
