// Sample player: y[n] = s(position), position += speed, from 0 at a trigger; s is a recording that goes round, read at the
// nearest sample, on a straight line, or on a four-point Hermite curve (in the form of L. de Soras, public archive). At the
// recording's end it is silent until the next trigger, or goes on from the start, as it has done from the first sample on. A
// position is a whole number of samples and 2^-32 parts of one, so that it never drifts.
#include "recording.h"
#include "unheard.h"

#if !defined(INTERPOLATION_NONE) && !defined(INTERPOLATION_LINEAR) && !defined(INTERPOLATION_CUBIC)
#error "sample-player: define INTERPOLATION_NONE, INTERPOLATION_LINEAR or INTERPOLATION_CUBIC"
#endif

enum { sample_player_once, sample_player_round };
enum { sample_player_flash, sample_player_ram };

typedef struct {
  uint32_t recording; // its number
  float time;         // seconds
  float speed;        // ratio
  uint32_t ending;    // once or round
  uint32_t memory;    // flash or ram
} sample_player_params;

typedef struct {
  const kernel_sample *sound;
  uint32_t length;         // samples
  uint32_t whole, part;    // position
  uint32_t step, fraction; // speed
  uint32_t playing, round; // 0 or 1
} sample_player_state;

uint32_t sample_player_state_bytes(const kernel_env *env, const sample_player_params *p) {
  (void)env, (void)p;
  return sizeof(sample_player_state);
}

// The recording in flash and its copy in RAM, of which one is read.
uint32_t sample_player_table_bytes(const kernel_env *env, const sample_player_params *p, uint32_t table) {
  return table == p->memory ? recording_length(env, p->time) * sizeof(kernel_sample) : 0;
}

void sample_player_table_fill(const kernel_env *env, const sample_player_params *p, uint32_t table, void *at) {
  (void)table;
  recording_fill(env, p->time, p->recording, at);
}

void sample_player_update_speed(sample_player_state *s, const kernel_env *env, const sample_player_params *p) {
  (void)env;
  const real speed = p->speed;
  s->step = (uint32_t)speed;
  s->fraction = (uint32_t)((speed - (real)s->step) * (real)4294967296.0);
}

void sample_player_start(sample_player_state *s, const kernel_env *env, const sample_player_params *p,
                         void *const buffers[]) {
  *s = (sample_player_state){
      .sound = buffers[p->memory],
      .length = recording_length(env, p->time),
      .playing = p->ending == sample_player_round,
      .round = p->ending == sample_player_round,
  };
  sample_player_update_speed(s, env, p);
}

void sample_player_event_trigger(sample_player_state *s, const kernel_env *env, const kernel_event *event,
                                 const float *const in[]) {
  (void)env, (void)in;
  if (event->value) {
    s->whole = 0;
    s->part = 0;
    s->playing = 1;
  }
}

KERNEL_INLINE real sample_player_read(const kernel_sample *sound, uint32_t length, uint32_t whole, uint32_t part) {
#if defined(INTERPOLATION_NONE)
  return kernel_from_sample(sound[part >> 31 ? recording_after(whole, length) : whole]);
#else
  const real fraction = (real)part * (real)(1.0 / 4294967296.0);
#if defined(INTERPOLATION_LINEAR)
  return recording_line(sound, length, whole, fraction);
#else
  const uint32_t following = recording_after(whole, length);
  const real before = kernel_from_sample(sound[whole ? whole - 1 : length - 1]), here = kernel_from_sample(sound[whole]);
  const real next = kernel_from_sample(sound[following]);
  const real after = kernel_from_sample(sound[recording_after(following, length)]);
  const real slope = (real)0.5 * (next - before);
  const real rise = here - next;
  const real bend = slope + rise;
  const real cube = bend + rise + (real)0.5 * (after - here);
  const real square = bend + cube;
  return ((cube * fraction - square) * fraction + slope) * fraction + here;
#endif
#endif
}

KERNEL_INLINE void sample_player_run(sample_player_state *s, const kernel_env *env, const float *const in[],
                                     float *const out[], uint32_t n) {
  (void)env, (void)in;
  float *y = out[0];
  const kernel_sample *sound = s->sound;
  const uint32_t length = s->length, step = s->step, fraction = s->fraction;
  uint32_t whole = s->whole, part = s->part, playing = s->playing;
  for (uint32_t i = 0; i < n; i++) {
    if (!playing) {
      y[i] = 0;
      continue;
    }
    y[i] = (float)sample_player_read(sound, length, whole, part);
    part += fraction;
    whole += step + (part < fraction);
    if (whole >= length) {
      whole -= length;
      playing = s->round;
    }
  }
  s->whole = whole;
  s->part = part;
  s->playing = playing;
}
KERNEL_BLOCK(sample_player)

UNHEARD_STIMULUS(sample_player)
