// Pitch detector by the normalised square difference (P. McLeod and G. Wyvill, A Smarter Way to Find Pitch, ICMC 2005, from
// memory): n(t) = 2 sum x[j] x[j+t] / sum (x[j]^2 + x[j+t]^2) over a window, of the mean of so many samples each. The period
// is the first peak behind the first zero that comes to 0.9 of the highest one, its top on a parabola through three points.
#include "kernel.h"

typedef struct {
  uint32_t share; // whole, half, quarter, eighth
  uint32_t window, lags;
  float looks; // a second
} pitch_detector_params;

typedef struct {
  float *line;  // what came, a ring
  float *frame; // the same in order
  float *alike; // n by lag
  uint32_t decimation, window, lags;
  uint32_t index;    // in the line
  uint32_t count;    // samples of the mean
  int32_t hop, left; // from look to look and until the next, a mean being 256
  float sum;
  float frequency, clarity;
} pitch_detector_state;

static const int32_t pitch_detector_mean = 256;

uint32_t pitch_detector_state_bytes(const kernel_env *env, const pitch_detector_params *p) {
  (void)env, (void)p;
  return sizeof(pitch_detector_state);
}

uint32_t pitch_detector_buffer_bytes(const kernel_env *env, const pitch_detector_params *p, uint32_t buffer) {
  (void)env;
  return (buffer < 2 ? p->window + p->lags : p->lags + 1) * sizeof(float);
}

void pitch_detector_start(pitch_detector_state *s, const kernel_env *env, const pitch_detector_params *p,
                          void *const buffers[]) {
  s->line = buffers[0];
  s->frame = buffers[1];
  s->alike = buffers[2];
  s->decimation = 1u << p->share;
  s->window = p->window;
  s->lags = p->lags;
  s->hop = (int32_t)((real)pitch_detector_mean * env->sample_rate / ((real)s->decimation * p->looks) + (real)0.5);
  s->index = 0;
  s->count = 0;
  s->left = s->hop;
  s->sum = 0;
  s->frequency = 0;
  s->clarity = 0;
}

// Mean square below which nothing is heard, -80 dB: house judgement.
static const real pitch_detector_silence = (real)1e-8;

// What is told stays where no period is found.
void pitch_detector_hop_look(pitch_detector_state *s, const kernel_env *env) {
  const uint32_t window = s->window, lags = s->lags, length = window + lags;
  float *x = s->frame, *alike = s->alike;
  for (uint32_t i = 0, from = s->index; i < length; i++) {
    x[i] = s->line[from];
    from = from + 1 < length ? from + 1 : 0;
  }
  real still = 0; // energy where nothing is moved
  for (uint32_t j = 0; j < window; j++)
    still += (real)x[j] * x[j];
  s->clarity = 0;
  if (still < pitch_detector_silence * (real)window)
    return;
  real moved = still;
  real top = 0;
  uint32_t first = 0; // lag at which it goes below 0 for the first time
  alike[0] = 1;
  for (uint32_t t = 1; t <= lags; t++) {
    real product = 0;
    for (uint32_t j = 0; j < window; j++)
      product += (real)x[j] * x[j + t];
    moved += (real)x[t + window - 1] * x[t + window - 1] - (real)x[t - 1] * x[t - 1];
    const real n = 2 * product / (still + moved);
    alike[t] = (float)n;
    if (n < 0 && first == 0)
      first = t;
    if (first > 0 && n > top)
      top = n;
  }
  if (first == 0)
    return;
  for (uint32_t t = first + 1; t < lags; t++) {
    const real before = alike[t - 1], here = alike[t], after = alike[t + 1];
    if (here < (real)0.9 * top || here < before || here < after || top <= 0)
      continue;
    const real bend = before - 2 * here + after;
    const real shift = bend < 0 ? (before - after) / (2 * bend) : 0;
    s->clarity = (float)(here - (before - after) * shift * (real)0.25);
    s->frequency = (float)(env->sample_rate / (((real)t + shift) * (real)s->decimation));
    return;
  }
}

KERNEL_INLINE void pitch_detector_run(pitch_detector_state *s, const kernel_env *env, const float *const in[],
                                      float *const out[], uint32_t n) {
  const float *x = in[0];
  const uint32_t decimation = s->decimation;
  const real share = 1 / (real)decimation;
  uint32_t count = s->count;
  real sum = s->sum;
  for (uint32_t i = 0; i < n; i++) {
    sum += x[i];
    if (++count == decimation) {
      const uint32_t index = s->index;
      s->line[index] = (float)(sum * share);
      s->index = index + 1 < s->window + s->lags ? index + 1 : 0;
      sum = 0;
      count = 0;
      s->left -= pitch_detector_mean;
      if (s->left <= 0) {
        s->left += s->hop;
        pitch_detector_hop_look(s, env);
      }
    }
  }
  s->count = count;
  s->sum = (float)sum;
  *out[0] = s->frequency;
  *out[1] = s->clarity;
}
KERNEL_BLOCK(pitch_detector)

#ifdef KERNEL_STIMULI
void pitch_detector_rewind(pitch_detector_state *s) {
  s->left = s->hop;
}

// Noise, which has no period; none costs more than another.
void pitch_detector_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  (void)costliest;
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = 0.7f * kernel_noise(&seed);
}
#endif
