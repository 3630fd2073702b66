// MIDI output: notes and clocks as bytes of MIDI 1.0 (from memory), each byte ten bits of the line. A status is left out
// where the one before it was the same (running status); a key that is let go is struck with strength 0, so that it stays
// the same. A note that finds no room in the queue is lost.
#include "notes.h"

typedef struct {
  float baud; // bits a second
  uint32_t queue;
  uint32_t channel;
} midi_out_params;

typedef struct {
  uint8_t *ring;
  uint32_t mask;    // of places in the ring
  uint32_t written; // bytes since the start
  uint32_t waiting; // bytes by 2^-16
  uint32_t leaving; // bytes a control period, by 2^-16
  uint32_t status;  // the last that was sent
  uint32_t struck;  // the status of notes on the channel
} midi_out_state;

uint32_t midi_out_state_bytes(const kernel_env *env, const midi_out_params *p) {
  (void)env, (void)p;
  return sizeof(midi_out_state);
}

uint32_t midi_out_buffer_bytes(const kernel_env *env, const midi_out_params *p, uint32_t buffer) {
  (void)env, (void)buffer;
  uint32_t bytes = 1;
  while (bytes < p->queue)
    bytes *= 2;
  return bytes;
}

void midi_out_start(midi_out_state *s, const kernel_env *env, const midi_out_params *p, void *const buffers[]) {
  s->ring = buffers[0];
  s->mask = midi_out_buffer_bytes(env, p, 0) - 1;
  s->written = 0;
  s->waiting = 0;
  s->leaving = (uint32_t)((real)p->baud * (real)6553.6 / env->control_rate);
  s->status = 0;
  s->struck = 0x90 + p->channel - 1;
}

// Room for so many bytes, which then are waiting.
KERNEL_INLINE int midi_out_room(midi_out_state *s, uint32_t bytes) {
  if (s->waiting + (bytes << 16) > (s->mask + 1) << 16)
    return 0;
  s->waiting += bytes << 16;
  return 1;
}

KERNEL_INLINE void midi_out_put(midi_out_state *s, uint32_t byte) {
  s->ring[s->written++ & s->mask] = (uint8_t)byte;
}

void midi_out_event_notes(midi_out_state *s, const kernel_env *env, const kernel_event *event, const float *const in[]) {
  (void)env, (void)in;
  const uint32_t value = event->value, anew = s->status != s->struck;
  if (!midi_out_room(s, 2 + anew))
    return;
  if (anew) {
    s->status = s->struck;
    midi_out_put(s, s->struck);
  }
  midi_out_put(s, note_key(value));
  midi_out_put(s, note_struck(value) ? note_strength(value) & 0x7f : 0);
}

void midi_out_event_clock(midi_out_state *s, const kernel_env *env, const kernel_event *event, const float *const in[]) {
  (void)env, (void)in;
  if (event->value && midi_out_room(s, 1))
    midi_out_put(s, 0xf8);
}

// The word of the port is how many bytes there are to be sent since the start.
void midi_out_tick(midi_out_state *s, const kernel_env *env, const float *const in[], float *const out[]) {
  (void)env, (void)in;
  s->waiting -= s->waiting < s->leaving ? s->waiting : s->leaving;
  *out[0] = kernel_float(s->written);
}

UNHEARD_STIMULUS(midi_out)
