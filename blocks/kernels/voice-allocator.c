// Voice allocator: a key that is struck takes the voice that sounds it already, else of the free voices the one that was
// let go longest ago, else the one that was struck longest ago; a key that is let go closes the voice that sounds it (any
// text on polyphony). Pitch is (key - 60) / 12 octaves.
#include "notes.h"

typedef struct {
  uint32_t voices;
} voice_allocator_params;

enum { voice_allocator_most = 8 };

typedef struct {
  uint32_t voices;
  uint32_t count; // of notes taken
  uint32_t changed[voice_allocator_most]; // the count when the voice was struck or let go, and in the top bit whether it is free
  float pitch[voice_allocator_most];      // octaves
  uint8_t key[voice_allocator_most];
} voice_allocator_state;

static const uint32_t voice_allocator_free = 0x80000000u;

uint32_t voice_allocator_state_bytes(const kernel_env *env, const voice_allocator_params *p) {
  (void)env, (void)p;
  return sizeof(voice_allocator_state);
}

void voice_allocator_start(voice_allocator_state *s, const kernel_env *env, const voice_allocator_params *p,
                           void *const buffers[]) {
  (void)env, (void)buffers;
  s->voices = p->voices;
  s->count = voice_allocator_most;
  for (uint32_t v = 0; v < voice_allocator_most; v++) {
    s->changed[v] = v | voice_allocator_free; // the first is free longest
    s->pitch[v] = 0;
    s->key[v] = 0;
  }
}

void voice_allocator_event_notes(voice_allocator_state *s, const kernel_env *env, const kernel_event *event,
                                 const float *const in[], kernel_events *const sent[]) {
  (void)env, (void)in;
  const uint32_t key = note_key(event->value), voices = s->voices;
  const uint32_t count = (s->count + 1) & ~voice_allocator_free;
  s->count = count;
  if (!note_struck(event->value)) {
    for (uint32_t v = 0; v < voices; v++) {
      if (s->key[v] == key && !(s->changed[v] & voice_allocator_free)) {
        s->changed[v] = count | voice_allocator_free;
        kernel_send(sent[v], event->moment, 0);
      }
    }
    return;
  }
  uint32_t chosen = 0, longest = 0;
  for (uint32_t v = 0; v < voices; v++) {
    // How many notes ago it changed, a free voice before any that sounds, and before both the one that sounds the key.
    const uint32_t changed = s->changed[v];
    uint32_t rank = ((count - changed) & ~voice_allocator_free) | (changed & voice_allocator_free);
    if (s->key[v] == key && !(changed & voice_allocator_free))
      rank = 0xffffffffu;
    if (rank > longest) {
      longest = rank;
      chosen = v;
    }
  }
  s->key[chosen] = (uint8_t)key;
  s->changed[chosen] = count;
  s->pitch[chosen] = (float)(((real)(int32_t)key - 60) * (real)(1.0 / 12.0));
  kernel_send(sent[chosen], event->moment, 1);
}

// Voices that are not asked for stay at pitch 0.
void voice_allocator_tick(voice_allocator_state *s, const kernel_env *env, const float *const in[], float *const out[],
                          kernel_events *const sent[]) {
  (void)env, (void)in, (void)sent;
  for (uint32_t v = 0; v < voice_allocator_most; v++)
    *out[v] = s->pitch[v];
}

UNHEARD_STIMULUS(voice_allocator)
