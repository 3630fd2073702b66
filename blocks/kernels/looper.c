// Looper: y[n] = p l[i], l[i] = k l[i] + t x[n], i = n mod L. Recording has p, k, t = 0, 0, 1 and begins at the start of
// the line, playing 1, 1, 0, playing with a layer laid over 1, 1, 1, and rest 0, 1, 0. L is how long was recorded.
#include "kernel.h"

#if !defined(FORMAT_FLOAT32) && !defined(FORMAT_INT16)
#error "looper: define FORMAT_FLOAT32 or FORMAT_INT16"
#endif

typedef struct {
  float time;  // seconds
  float decay; // share of the loop that a layer leaves
} looper_params;

typedef struct {
  kernel_sample *line;          // channels interleaved
  uint32_t length, loop, index; // samples of the line and of what was recorded, and place
  uint32_t recording;           // 1 until the gate closes or the line is full
  float decay;
  float played, kept, taken;
} looper_state;

uint32_t looper_state_bytes(const kernel_env *env, const looper_params *p) {
  (void)env, (void)p;
  return sizeof(looper_state);
}

// Samples of the line. A time that is over a whole number of samples by less than two roundings of a float is whole.
static uint32_t looper_length(const kernel_env *env, const looper_params *p) {
  const float exact = p->time * env->sample_rate;
  uint32_t samples = (uint32_t)exact;
  if (exact - (float)samples > exact * 2.5e-7f)
    samples++;
  return samples;
}

uint32_t looper_buffer_bytes(const kernel_env *env, const looper_params *p, uint32_t buffer) {
  (void)buffer;
  return looper_length(env, p) * env->channels * sizeof(kernel_sample);
}

void looper_start(looper_state *s, const kernel_env *env, const looper_params *p, void *const buffers[]) {
  s->line = buffers[0];
  s->length = looper_length(env, p);
  s->loop = s->length;
  s->index = 0;
  s->recording = 0;
  s->decay = p->decay;
  s->played = 0;
  s->kept = 1;
  s->taken = 0;
}

KERNEL_INLINE void looper_set(looper_state *s, float played, float kept, float taken) {
  s->played = played;
  s->kept = kept;
  s->taken = taken;
}

// What was recorded is played from its start. A gate that closed at once recorded nothing, and the whole line is played.
KERNEL_INLINE void looper_close(looper_state *s) {
  s->recording = 0;
  if (s->index > 0)
    s->loop = s->index;
  s->index = 0;
  looper_set(s, 1, 1, 0);
}

void looper_event_record(looper_state *s, const kernel_env *env, const kernel_event *event, const float *const in[]) {
  (void)env, (void)in;
  if (event->value) {
    s->recording = 1;
    s->loop = s->length;
    s->index = 0;
    looper_set(s, 0, 0, 1);
  } else if (s->recording) {
    looper_close(s);
  }
}

void looper_event_play(looper_state *s, const kernel_env *env, const kernel_event *event, const float *const in[]) {
  (void)env, (void)in;
  if (s->recording)
    looper_close(s);
  s->index = 0;
  looper_set(s, event->value ? 1 : 0, 1, 0);
}

// A layer can only be laid over what plays.
void looper_event_overdub(looper_state *s, const kernel_env *env, const kernel_event *event, const float *const in[]) {
  (void)env, (void)in;
  if (s->recording || s->played == 0)
    return;
  looper_set(s, 1, event->value ? s->decay : 1, event->value ? 1 : 0);
}

// From end to end of the loop there is nothing to ask, so that a sample costs the same whatever is done.
KERNEL_INLINE void looper_run(looper_state *s, const kernel_env *env, const float *const in[], float *const out[],
                              uint32_t n) {
  const uint32_t channels = env->channels;
  for (uint32_t done = 0; done < n;) {
    const real played = s->played, kept = s->kept, taken = s->taken;
    const uint32_t left = s->loop - s->index;
    const uint32_t run = n - done < left ? n - done : left;
    for (uint32_t c = 0; c < channels; c++) {
      const float *x = in[c] + done;
      float *y = out[c] + done;
      kernel_sample *line = s->line + s->index * channels + c;
      for (uint32_t i = 0; i < run; i++) {
        const real loop = kernel_from_sample(*line);
        *line = kernel_to_sample(kept * loop + taken * x[i]);
        y[i] = (float)(played * loop);
        line += channels;
      }
    }
    done += run;
    s->index += run;
    if (s->index == s->loop) {
      s->index = 0;
      if (s->recording)
        looper_close(s);
    }
  }
}
KERNEL_BLOCK(looper)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal.
void looper_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-38f : 0.5f);
}
#endif
