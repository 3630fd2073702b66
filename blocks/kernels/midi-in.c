// MIDI input: messages of MIDI 1.0 (from memory) out of the bytes that came since the control period before. A byte of 0x80
// and more is a status, which stays for all data that follow without one (running status); those from 0xf8 on may come
// anywhere and leave it alone; those from 0xf0 to 0xf7 end it, and their data are passed over.
#include "notes.h"

typedef struct {
  float baud;   // bits a second, which only the catalog needs
  float clocks; // greatest clocks a second, the same
  uint32_t most;
  uint32_t channel;
  uint32_t controller;
} midi_in_params;

typedef struct {
  const uint8_t *ring;
  uint32_t mask; // of places in the ring
  uint32_t read; // bytes read since the start
  uint32_t most;
  uint8_t status, first; // 0 where there is none, and midi_in_none
  uint8_t channel, controller;
  float control, bend;
} midi_in_state;

static const uint8_t midi_in_none = 0x80;

uint32_t midi_in_state_bytes(const kernel_env *env, const midi_in_params *p) {
  (void)env, (void)p;
  return sizeof(midi_in_state);
}

// A power of two with room for what comes in four control periods.
uint32_t midi_in_buffer_bytes(const kernel_env *env, const midi_in_params *p, uint32_t buffer) {
  (void)env, (void)buffer;
  uint32_t bytes = 1;
  while (bytes < 4 * p->most)
    bytes *= 2;
  return bytes;
}

void midi_in_start(midi_in_state *s, const kernel_env *env, const midi_in_params *p, void *const buffers[]) {
  s->ring = buffers[0];
  s->mask = midi_in_buffer_bytes(env, p, 0) - 1;
  s->read = 0;
  s->most = p->most;
  s->status = 0;
  s->first = midi_in_none;
  s->channel = (uint8_t)p->channel;
  s->controller = (uint8_t)p->controller;
  s->control = 0;
  s->bend = 0;
#ifdef KERNEL_STIMULI
  uint8_t *received = buffers[0];
  for (uint32_t i = 0; i <= s->mask; i++) // one key, struck again and again under a running status
    received[i] = i == 0 ? 0x90 : i & 1 ? 60 : 100;
#endif
}

KERNEL_INLINE void midi_in_take(midi_in_state *s, uint32_t byte, kernel_events *const sent[]) {
  if (byte >= 0xf8) {
    if (byte == 0xf8)
      kernel_send(sent[1], 0, 1);
    return;
  }
  if (byte & 0x80) {
    const uint32_t ours = byte < 0xf0 && (s->channel == 0 || s->channel == (byte & 0xf) + 1);
    s->status = (uint8_t)(ours ? byte : 0);
    s->first = midi_in_none;
    return;
  }
  const uint32_t kind = s->status >> 4, first = s->first;
  if (first == midi_in_none) {
    s->first = (uint8_t)byte;
    if (kind == 0xc || kind == 0xd) // these have one byte of data
      s->first = midi_in_none;
    return;
  }
  s->first = midi_in_none;
  if (kind == 0x9 || kind == 0x8) {
    const uint32_t strength = kind == 0x9 ? byte : 0;
    kernel_send(sent[0], 0, note_value(strength > 0, first, strength));
  } else if (kind == 0xb && first == s->controller) {
    s->control = (float)((real)byte * (real)(1.0 / 127.0));
  } else if (kind == 0xe) {
    s->bend = (float)(((real)(int32_t)(byte << 7 | first) - 8192) * (real)(1.0 / 8192.0));
  }
}

// The word of the port is how many bytes came since the start.
void midi_in_tick(midi_in_state *s, const kernel_env *env, const float *const in[], float *const out[],
                  kernel_events *const sent[]) {
  (void)env;
  const uint32_t received = kernel_bits(*in[0]);
  for (uint32_t left = s->most; left > 0 && s->read != received; left--)
    midi_in_take(s, s->ring[s->read++ & s->mask], sent);
  *out[0] = s->control;
  *out[1] = s->bend;
}

#ifdef KERNEL_STIMULI
// A byte in each control period, and at most so many that some are left for the next.
void midi_in_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  (void)channel;
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_float(costliest ? 0x80000000u : block);
}
#endif
