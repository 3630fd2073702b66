// Card stream: y[k][n] = s b[k][i], i = i + 1 mod 2 L, b two halves of L samples each with the channels interleaved. While one
// half is played the other is read from the card, in whole blocks of 512 bytes (SD physical layer, from memory); `wanted`
// tells which. s is 1, or 2^-15 for 16 bits.
#include "unheard.h"

#if !defined(FORMAT_FLOAT32) && !defined(FORMAT_INT16)
#error "card-stream: define FORMAT_FLOAT32 or FORMAT_INT16"
#endif

typedef struct {
  float latency; // seconds that a half must last
} card_stream_params;

typedef struct {
  const kernel_sample *halves;
  uint32_t length, index; // values in both halves
  uint32_t wanted;        // 0 or 1: the half that may be read anew
} card_stream_state;

static const uint32_t card_stream_transfer = 512; // bytes of a block of the card

uint32_t card_stream_state_bytes(const kernel_env *env, const card_stream_params *p) {
  (void)env, (void)p;
  return sizeof(card_stream_state);
}

// Two halves. A time that is over a whole number of samples by less than two roundings of a float is whole.
uint32_t card_stream_buffer_bytes(const kernel_env *env, const card_stream_params *p, uint32_t buffer) {
  (void)buffer;
  const float exact = p->latency * env->sample_rate;
  uint32_t samples = (uint32_t)exact;
  if (exact - (float)samples > exact * 2.5e-7f)
    samples++;
  // As many blocks for each channel, so that no sample lies in both halves.
  const uint32_t blocks = (samples * sizeof(kernel_sample) + card_stream_transfer - 1) / card_stream_transfer;
  return 2 * blocks * card_stream_transfer * env->channels;
}

void card_stream_start(card_stream_state *s, const kernel_env *env, const card_stream_params *p,
                       void *const buffers[]) {
  s->halves = buffers[0];
  s->length = card_stream_buffer_bytes(env, p, 0) / sizeof(kernel_sample);
  s->index = 0;
  s->wanted = 1;
#ifdef KERNEL_STIMULI
  kernel_sample *read = buffers[0];
  uint32_t seed = kernel_seed(0, 0);
  for (uint32_t i = 0; i < s->length; i++)
    read[i] = kernel_to_sample((real)kernel_noise(&seed));
#endif
}

KERNEL_INLINE void card_stream_run(card_stream_state *s, const kernel_env *env, const float *const in[],
                                   float *const out[], uint32_t n) {
  (void)in;
  const uint32_t channels = env->channels, length = s->length;
  const kernel_sample *halves = s->halves;
  uint32_t index = s->index;
  for (uint32_t i = 0; i < n; i++) {
    for (uint32_t c = 0; c < channels; c++)
      out[c][i] = (float)kernel_from_sample(halves[index + c]);
    index += channels;
    if (index >= length)
      index = 0;
  }
  s->index = index;
  s->wanted = index < length / 2;
}
KERNEL_BLOCK(card_stream)

UNHEARD_STIMULUS(card_stream)
