// Feedback delay network: q_i[n] = g_i (1 - p) w_i[n - M_i] + p q_i[n - 1], w_i[n] = x[n] + sum over j = 1..N of
// A_ij q_j[n], g_i = 10^(-3 M_i / (sample rate x decay)), p = damping; A = I - (2 / N) ones, or a Hadamard matrix over
// sqrt(N), of which 1 / sqrt(N) is folded into g_i; yL = h1 + h2, yR = h1 - h2, h1 and h2 the sums of the first and of
// the second half of the q_i with signs in turn; x is the mean of the input's channels (J.-M. Jot and A. Chaigne,
// Digital Delay Networks for Designing Artificial Reverberators, AES 90th Convention, preprint 3030, 1991; matrices
// after J.O. Smith, Physical Audio Signal Processing, chapter 3).
#include "kernel.h"

#if !defined(MATRIX_HOUSEHOLDER) && !defined(MATRIX_HADAMARD)
#error "network-reverb: define MATRIX_HOUSEHOLDER or MATRIX_HADAMARD"
#endif
#if !defined(FORMAT_FLOAT32) && !defined(FORMAT_INT16)
#error "network-reverb: define FORMAT_FLOAT32 or FORMAT_INT16"
#endif

enum { network_reverb_most = 16 };

typedef struct {
  float decay;    // seconds to -60 dB of the lowest tones
  float damping;  // ratio
  uint32_t lines; // 0, 1 or 2 for 4, 8 or 16
} network_reverb_params;

typedef struct {
  kernel_sample *samples;
  uint32_t length;
  uint32_t index; // read and written next
  float gain;     // g (1 - p), with Hadamard over sqrt(N)
  float memory;   // q
} network_reverb_line;

typedef struct {
  uint32_t size; // how many lines
  float damping;
  float input_scale;  // one over the number of channels
  float matrix_scale; // 2 / N of Householder's matrix, 1 / sqrt(N) of Hadamard's
  network_reverb_line line[];
} network_reverb_state;

static uint32_t network_reverb_size(const network_reverb_params *p) {
  return 4u << p->lines;
}

uint32_t network_reverb_state_bytes(const kernel_env *env, const network_reverb_params *p) {
  (void)env;
  return sizeof(network_reverb_state) + network_reverb_size(p) * sizeof(network_reverb_line);
}

// Primes spread geometrically from 20 to 60 ms at 48 kHz, scaled to the nearest sample.
static uint32_t network_reverb_length(const kernel_env *env, const network_reverb_params *p, uint32_t line) {
  static const uint16_t lengths[] = {967,  1399, 1997, 2887,                         // four
                                     967,  1123, 1319, 1543, 1801, 2111, 2467, 2887, // eight
                                     967,  1033, 1117, 1201, 1289, 1399, 1489, 1607, // sixteen
                                     1733, 1861, 1997, 2153, 2311, 2503, 2677, 2887};
  return (uint32_t)((float)lengths[network_reverb_size(p) - 4 + line] * (env->sample_rate / 48000.0f) + 0.5f);
}

// The buffers are the lines of four, then of eight, then of sixteen.
uint32_t network_reverb_buffer_bytes(const kernel_env *env, const network_reverb_params *p, uint32_t buffer) {
  const uint32_t size = network_reverb_size(p), line = buffer - (size - 4);
  return line < size ? network_reverb_length(env, p, line) * sizeof(kernel_sample) : 0;
}

void network_reverb_update_gains(network_reverb_state *s, const kernel_env *env, const network_reverb_params *p) {
  const real octaves_a_sample = (real)-9.96578428466 / (env->sample_rate * (real)p->decay); // -3 log2(10)
  real scale = 1 - (real)p->damping;
#ifdef MATRIX_HADAMARD
  scale *= s->matrix_scale;
#endif
  s->damping = p->damping;
  for (uint32_t i = 0; i < s->size; i++)
    s->line[i].gain = (float)(scale * kernel_exp2(octaves_a_sample * (real)s->line[i].length));
}

void network_reverb_start(network_reverb_state *s, const kernel_env *env, const network_reverb_params *p,
                          void *const buffers[]) {
  s->size = network_reverb_size(p);
  s->input_scale = 1.0f / (float)env->channels;
#ifdef MATRIX_HADAMARD
  s->matrix_scale = (float)(1 / kernel_sqrt((real)s->size));
#else
  s->matrix_scale = 2.0f / (float)s->size;
#endif
  for (uint32_t i = 0; i < s->size; i++)
    s->line[i] = (network_reverb_line){.samples = buffers[s->size - 4 + i], .length = network_reverb_length(env, p, i)};
  network_reverb_update_gains(s, env, p);
}

KERNEL_INLINE void network_reverb_run(network_reverb_state *s, const kernel_env *env, const float *const in[],
                                      float *const out[], uint32_t n) {
  const uint32_t channels = env->channels, size = s->size;
  const real damping = s->damping, input_scale = s->input_scale;
  float *left = out[0], *right = out[1];
#ifdef MATRIX_HOUSEHOLDER
  const real matrix_scale = s->matrix_scale;
#endif
  real q[network_reverb_most];
  for (uint32_t i = 0; i < n; i++) {
    real x = in[0][i];
    for (uint32_t c = 1; c < channels; c++)
      x += in[c][i];
    x *= input_scale;

    // Each line read and damped.
    real half[2];
#ifdef MATRIX_HOUSEHOLDER
    real sum = 0;
#endif
    uint32_t k = 0;
    for (uint32_t h = 0; h < 2; h++) {
      real signs_in_turn = 0;
      for (const uint32_t end = k + size / 2; k < end; k++) {
        network_reverb_line *line = &s->line[k];
        q[k] = line->gain * kernel_from_sample(line->samples[line->index]) + damping * line->memory;
        line->memory = (float)q[k];
        signs_in_turn = q[k] - signs_in_turn;
#ifdef MATRIX_HOUSEHOLDER
        sum += q[k];
#endif
      }
      half[h] = signs_in_turn;
    }

#ifdef MATRIX_HADAMARD
    for (uint32_t span = 1; span < size; span *= 2)
      for (uint32_t group = 0; group < size; group += 2 * span)
        for (k = group; k < group + span; k++) {
          const real a = q[k], b = q[k + span];
          q[k] = a + b;
          q[k + span] = a - b;
        }
#else
    x -= sum * matrix_scale;
#endif

    // Each line written.
    for (k = 0; k < size; k++) {
      network_reverb_line *line = &s->line[k];
      uint32_t index = line->index;
      line->samples[index] = kernel_to_sample(x + q[k]);
      if (++index == line->length)
        index = 0;
      line->index = index;
    }
    left[i] = (float)(half[0] + half[1]);
    right[i] = (float)(half[0] - half[1]);
  }
}
KERNEL_BLOCK(network_reverb)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal.
void network_reverb_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-38f : 0.1f);
}
#endif
