// Snare drum: white noise, through a bandpass where it has one, and a sine, each with a level that falls exponentially
// from a trigger on (any text on drum synthesis): y[n] = snares l[n] filter(noise) + (1 - snares) k[n] sin(2 pi phase).
#include "drum.h"
#include "unheard.h"

#if !defined(FILTER_BANDPASS) && !defined(FILTER_NONE)
#error "snare-drum: define FILTER_BANDPASS or FILTER_NONE"
#endif

typedef struct {
  float pitch;  // hertz
  float ring;   // seconds
  float snares; // share of the noise
  float decay;  // seconds
  float centre; // hertz
  float q;
} snare_drum_params;

typedef struct {
  uint32_t phase;     // a turn is 2^32
  uint32_t increment; // a sample
  uint32_t seed;
  float level, fall; // of the noise
  float tone, ring;  // level of the sine and its factor
  float snares, skin; // shares of the two
#ifdef FILTER_BANDPASS
  drum_filter filter;
#endif
} snare_drum_state;

uint32_t snare_drum_state_bytes(const kernel_env *env, const snare_drum_params *p) {
  (void)env, (void)p;
  return sizeof(snare_drum_state);
}

void snare_drum_update_pitch(snare_drum_state *s, const kernel_env *env, const snare_drum_params *p) {
  s->increment = phase_increment(phase_per_hertz(env), p->pitch);
}

void snare_drum_update_ring(snare_drum_state *s, const kernel_env *env, const snare_drum_params *p) {
  s->ring = drum_factor(env, p->ring);
}

void snare_drum_update_decay(snare_drum_state *s, const kernel_env *env, const snare_drum_params *p) {
  s->fall = drum_factor(env, p->decay);
}

// Loudness of the signed 32-bit number at full scale is part of the share.
void snare_drum_update_shares(snare_drum_state *s, const kernel_env *env, const snare_drum_params *p) {
  (void)env;
  s->snares = (float)((real)p->snares * (real)(1.0 / 2147483648.0));
  s->skin = (float)(1 - (real)p->snares);
}

void snare_drum_update_filter(snare_drum_state *s, const kernel_env *env, const snare_drum_params *p) {
#ifdef FILTER_BANDPASS
  drum_filter_set(&s->filter, env, p->centre, p->q, 0);
#else
  (void)s, (void)env, (void)p;
#endif
}

void snare_drum_start(snare_drum_state *s, const kernel_env *env, const snare_drum_params *p, void *const buffers[]) {
  (void)buffers;
  s->phase = 0;
  s->seed = 0;
  s->level = 0;
  s->tone = 0;
#ifdef FILTER_BANDPASS
  s->filter.near = 0;
  s->filter.far = 0;
#endif
  snare_drum_update_pitch(s, env, p);
  snare_drum_update_ring(s, env, p);
  snare_drum_update_decay(s, env, p);
  snare_drum_update_shares(s, env, p);
  snare_drum_update_filter(s, env, p);
}

void snare_drum_event_trigger(snare_drum_state *s, const kernel_env *env, const kernel_event *event,
                              const float *const in[]) {
  (void)env, (void)in;
  if (event->value) {
    s->phase = 0;
    s->level = 1;
    s->tone = 1;
  }
}

// The noise runs on between the strokes, so that what the filter holds never dies away into denormals.
KERNEL_INLINE void snare_drum_run(snare_drum_state *s, const kernel_env *env, const float *const in[],
                                  float *const out[], uint32_t n) {
  (void)env, (void)in;
  float *y = out[0];
  const real fall = s->fall, ring = s->ring, snares = s->snares, skin = s->skin;
  const uint32_t increment = s->increment;
  uint32_t phase = s->phase, seed = s->seed;
  float level = s->level, tone = s->tone;
#ifdef FILTER_BANDPASS
  drum_filter filter = s->filter;
#endif
  for (uint32_t i = 0; i < n; i++) {
    seed = 1664525u * seed + 1013904223u; // D. Knuth, The Art of Computer Programming 2
    real rattle = snares * (real)(int32_t)seed;
#ifdef FILTER_BANDPASS
    rattle = drum_bandpass(&filter, rattle);
#endif
    y[i] = (float)(rattle * level + skin * tone * drum_sine(phase));
    phase += increment;
    level = drum_fall(level, fall);
    tone = drum_fall(tone, ring);
  }
#ifdef FILTER_BANDPASS
  s->filter.near = filter.near;
  s->filter.far = filter.far;
#endif
  s->phase = phase;
  s->seed = seed;
  s->level = level;
  s->tone = tone;
}
KERNEL_BLOCK(snare_drum)

UNHEARD_STIMULUS(snare_drum)
