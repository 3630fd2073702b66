// Plucked string: a delay line as long as a period, filled with noise and fed back through a weighted average of two
// points, w[n] = g ((1 - s) u[n] + s u[n-1]) (K. Karplus and A. Strong, Digital Synthesis of Plucked-String and Drum
// Timbres, Computer Music Journal 7(2), 1983, with s = 1/2), u the line through a first-order allpass that takes up the
// fraction of a sample (D. Jaffe and J.O. Smith, same issue).
#include "kernel.h"

#if !defined(FORMAT_FLOAT32) && !defined(FORMAT_INT16)
#error "plucked-string: define FORMAT_FLOAT32 or FORMAT_INT16"
#endif

typedef struct {
  float pitch, lowest; // hertz
  float decay;         // seconds
  float damping;       // share of the older point
} plucked_string_params;

typedef struct {
  kernel_sample *line;
  uint32_t length;   // samples of the line
  uint32_t index;    // that is written next
  uint32_t period;   // samples from there back to the one that is read
  uint32_t plucking; // samples of noise that are still to come
  uint32_t seed;
  float allpass;      // coefficient
  float newer, older; // shares of the two points, the loss of a period in both
  float input, point; // of the allpass a sample ago, and what came out
} plucked_string_state;

uint32_t plucked_string_state_bytes(const kernel_env *env, const plucked_string_params *p) {
  (void)env, (void)p;
  return sizeof(plucked_string_state);
}

// A period that is over a whole number of samples by less than two roundings of a float is whole.
static uint32_t plucked_string_length(const kernel_env *env, const plucked_string_params *p) {
  const float exact = env->sample_rate / p->lowest;
  const uint32_t samples = (uint32_t)exact;
  return exact - (float)samples > exact * 2.5e-7f ? samples + 1 : samples;
}

uint32_t plucked_string_buffer_bytes(const kernel_env *env, const plucked_string_params *p, uint32_t buffer) {
  (void)buffer;
  return plucked_string_length(env, p) * sizeof(kernel_sample);
}

// The average delays by s of a sample and the allpass by 0.1 to 1.1, where it is steady; the line does the rest. A pitch
// below the lowest is held there. A period loses 60 dB in so many as the decay holds.
void plucked_string_update_string(plucked_string_state *s, const kernel_env *env, const plucked_string_params *p) {
  const real pitch = p->pitch > p->lowest ? p->pitch : p->lowest;
  const real rest = env->sample_rate / pitch - p->damping - (real)0.1;
  s->period = (uint32_t)rest;
  const real fraction = rest - (real)s->period + (real)0.1;
  s->allpass = (float)((1 - fraction) / (1 + fraction));
  const real kept = kernel_exp2((real)-9.96578428466 / (pitch * p->decay)); // 3 log2(10) is 60 dB
  s->older = (float)(kept * p->damping);
  s->newer = (float)(kept * (1 - (real)p->damping));
}

void plucked_string_start(plucked_string_state *s, const kernel_env *env, const plucked_string_params *p,
                          void *const buffers[]) {
  s->line = buffers[0];
  s->length = plucked_string_length(env, p);
  s->index = 0;
  s->plucking = 0;
  s->seed = 0;
  s->input = 0;
  s->point = 0;
  for (uint32_t i = 0; i < s->length; i++)
    s->line[i] = 0;
  plucked_string_update_string(s, env, p);
}

// The noise comes sample by sample, so that a trigger costs the same at any pitch.
void plucked_string_event_pluck(plucked_string_state *s, const kernel_env *env, const kernel_event *event,
                                const float *const in[]) {
  (void)env, (void)in;
  if (event->value)
    s->plucking = s->period;
}

KERNEL_INLINE void plucked_string_run(plucked_string_state *s, const kernel_env *env, const float *const in[],
                                      float *const out[], uint32_t n) {
  (void)env, (void)in;
  float *y = out[0];
  kernel_sample *line = s->line;
  const uint32_t length = s->length, period = s->period;
  const real allpass = s->allpass, newer = s->newer, older = s->older;
  uint32_t index = s->index, plucking = s->plucking, seed = s->seed;
  float input = s->input, point = s->point;
  for (uint32_t i = 0; i < n; i++) {
    const uint32_t at = index >= period ? index - period : index + length - period;
    const float read = (float)kernel_from_sample(line[at]);
    const float tuned = (float)(allpass * ((real)read - point) + input);
    real w = newer * tuned + older * point;
    input = read;
    point = tuned;
    if (plucking) {
      plucking--;
      seed = 1664525u * seed + 1013904223u; // D. Knuth, The Art of Computer Programming 2
      w = (real)(int32_t)seed * (real)(0.5 / 2147483648.0);
    }
    line[index] = kernel_to_sample(w);
    y[i] = (float)w;
    if (++index == length)
      index = 0;
  }
  s->index = index;
  s->plucking = plucking;
  s->seed = seed;
  s->input = input;
  s->point = point;
}
KERNEL_BLOCK(plucked_string)

#ifdef KERNEL_STIMULI
// A string has no input but its trigger.
void plucked_string_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  (void)costliest, (void)channel, (void)block;
  for (uint32_t i = 0; i < n; i++)
    x[i] = 0;
}
#endif
