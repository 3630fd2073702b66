// Pitch quantiser: n = floor(12 x + 0.5), d = n mod 12, y = (n - d + scale[d]) / 12, in octaves, once a control period.
// The scale holds for each semitone of the octave the note that it is moved to (any text on equal temperament).
#include "kernel.h"

typedef struct {
  uint32_t scale; // chromatic, major, natural minor, pentatonic, whole-tone
} pitch_quantiser_params;

typedef struct {
  const uint8_t *scale;
} pitch_quantiser_state;

enum { pitch_quantiser_semitones = 12 };

uint32_t pitch_quantiser_state_bytes(const kernel_env *env, const pitch_quantiser_params *p) {
  (void)env, (void)p;
  return sizeof(pitch_quantiser_state);
}

uint32_t pitch_quantiser_table_bytes(const kernel_env *env, const pitch_quantiser_params *p, uint32_t table) {
  (void)env, (void)p, (void)table;
  return pitch_quantiser_semitones;
}

void pitch_quantiser_table_fill(const kernel_env *env, const pitch_quantiser_params *p, uint32_t table, void *at) {
  (void)env, (void)table;
  // Bit d is set where semitone d may come out; bit 12 is the next octave's first.
  static const uint16_t notes[] = {
      0x1fff, // chromatic
      0x1ab5, // major: 0 2 4 5 7 9 11
      0x15ad, // natural minor: 0 2 3 5 7 8 10
      0x1295, // pentatonic: 0 2 4 7 9
      0x1555, // whole-tone: 0 2 4 6 8 10
  };
  const uint32_t allowed = notes[p->scale];
  uint8_t *scale = at;
  for (uint32_t d = 0; d < pitch_quantiser_semitones; d++) {
    uint32_t below = d, above = d;
    while (!(allowed >> below & 1))
      below--;
    while (!(allowed >> above & 1))
      above++;
    scale[d] = (uint8_t)(above - d < d - below ? above : below); // halfway goes down: house judgement
  }
}

void pitch_quantiser_start(pitch_quantiser_state *s, const kernel_env *env, const pitch_quantiser_params *p,
                           void *const buffers[]) {
  (void)env, (void)p;
  s->scale = buffers[0];
}

void pitch_quantiser_tick(pitch_quantiser_state *s, const kernel_env *env, const float *const in[],
                          float *const out[]) {
  (void)env;
  const int32_t note = (int32_t)kernel_floor(12 * (real)*in[0] + 0.5f);
  int32_t degree = note % pitch_quantiser_semitones;
  if (degree < 0)
    degree += pitch_quantiser_semitones;
  *out[0] = (float)((real)(note - degree + s->scale[degree]) * (real)(1.0 / 12.0));
}

#ifdef KERNEL_STIMULI
// The costliest pitches lie below 0, where the remainder must be raised.
void pitch_quantiser_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = (costliest ? -3.0f : 3.0f) + 2.0f * kernel_noise(&seed);
}
#endif
