// Convolution with a recorded room, in partitions of one length: y = x * h by spectra, Y = sum over p of X[p] H[p], where
// H[p] is the spectrum of partition p of h and X[p] that of the two partitions of x that were heard p partitions ago,
// of whose sum the second half counts (overlap and save; F. Wefers, Partitioned Convolution Algorithms for Real-Time
// Auralization, 2015).
#include "fourier.h"

typedef struct {
  float response;     // seconds
  uint32_t partition; // choice of the catalog
  uint32_t room;      // number of the recording
} convolution_reverb_params;

typedef struct {
  float *heard, *said;          // two partitions, the older first, and the next one, of each channel
  float *spectra, *past, *sums; // of the room; of what was heard, a ring for each channel; and of what is said
  const float *turns;
  uint32_t size, partitions; // samples of a partition, and how many the room has
  uint32_t newest, place;    // in the ring, and in a partition
} convolution_reverb_state;

static inline uint32_t convolution_reverb_size(const convolution_reverb_params *p) {
  return 128u << p->partition; // the choices of the catalog, in order
}

// Samples of the room. A time that is over a whole number of samples by less than two roundings of a float is whole.
static inline uint32_t convolution_reverb_length(const kernel_env *env, const convolution_reverb_params *p) {
  const float exact = p->response * env->sample_rate;
  uint32_t samples = (uint32_t)exact;
  if (exact - (float)samples > exact * 2.5e-7f)
    samples++;
  return samples;
}

static inline uint32_t convolution_reverb_partitions(const kernel_env *env, const convolution_reverb_params *p) {
  const uint32_t size = convolution_reverb_size(p);
  return (convolution_reverb_length(env, p) + size - 1) / size;
}

uint32_t convolution_reverb_state_bytes(const kernel_env *env, const convolution_reverb_params *p) {
  (void)env, (void)p;
  return sizeof(convolution_reverb_state);
}

uint32_t convolution_reverb_buffer_bytes(const kernel_env *env, const convolution_reverb_params *p, uint32_t buffer) {
  const uint32_t partition = convolution_reverb_size(p) * sizeof(float);
  const uint32_t all = 2 * partition * convolution_reverb_partitions(env, p);
  switch (buffer) {
  case 0:
    return 2 * partition * env->channels;
  case 1:
    return partition * env->channels;
  case 2:
    return all;
  case 3:
    return all * env->channels;
  }
  return 2 * partition;
}

uint32_t convolution_reverb_table_bytes(const kernel_env *env, const convolution_reverb_params *p, uint32_t table) {
  return table == 0 ? convolution_reverb_length(env, p) * (uint32_t)sizeof(int16_t)
                    : 2 * convolution_reverb_size(p) * (uint32_t)sizeof(float);
}

// The room stands for one that was recorded: noise that falls by 60 dB over its length.
void convolution_reverb_table_fill(const kernel_env *env, const convolution_reverb_params *p, uint32_t table, void *to) {
  if (table == 1) {
    fourier_fill(to, 2 * convolution_reverb_size(p));
    return;
  }
  int16_t *room = to;
  const uint32_t length = convolution_reverb_length(env, p);
  uint32_t seed = 2u * p->room + 1u;
  for (uint32_t i = 0; i < length; i++) {
    seed = seed * 1664525u + 1013904223u;
    const float noise = (float)(int32_t)seed * (1.0f / 2147483648.0f);
    room[i] = (int16_t)(8192.0f * noise * expf(-6.9077553f * (float)i / (float)length));
  }
}

void convolution_reverb_start(convolution_reverb_state *s, const kernel_env *env, const convolution_reverb_params *p,
                              void *const buffers[]) {
  s->heard = buffers[0];
  s->said = buffers[1];
  s->spectra = buffers[2];
  s->past = buffers[3];
  s->sums = buffers[4];
  s->turns = buffers[6];
  s->size = convolution_reverb_size(p);
  s->partitions = convolution_reverb_partitions(env, p);
  s->newest = 0;
  s->place = 0;
  const int16_t *room = buffers[5];
  const uint32_t length = convolution_reverb_length(env, p), points = 2 * s->size;
  for (uint32_t k = 0; k < s->partitions; k++) {
    float *x = s->spectra + k * points;
    for (uint32_t i = 0; i < points; i++) {
      const uint32_t at = k * s->size + i;
      x[i] = i < s->size && at < length ? (float)room[at] * (1.0f / 32768.0f) : 0;
    }
    fourier_forward(x, s->turns, points);
  }
}

// Adds the product of two spectra.
static inline void convolution_reverb_add(float *sums, const float *x, const float *h, uint32_t points) {
  sums[0] = (float)((real)sums[0] + (real)x[0] * (real)h[0]);
  sums[1] = (float)((real)sums[1] + (real)x[1] * (real)h[1]);
  for (uint32_t i = 2; i < points; i += 2) {
    const real a = x[i], b = x[i + 1], c = h[i], d = h[i + 1];
    sums[i] = (float)((real)sums[i] + a * c - b * d);
    sums[i + 1] = (float)((real)sums[i + 1] + a * d + b * c);
  }
}

FOURIER_HOP void convolution_reverb_hop_partition(convolution_reverb_state *s, const kernel_env *env) {
  const uint32_t size = s->size, points = 2 * size, partitions = s->partitions;
  s->newest = s->newest > 0 ? s->newest - 1 : partitions - 1;
  const real scale = 1 / (real)size;
  float *sums = s->sums;
  for (uint32_t c = 0; c < env->channels; c++) {
    float *heard = s->heard + c * points, *past = s->past + c * partitions * points;
    float *newest = past + s->newest * points;
    for (uint32_t i = 0; i < points; i++)
      sums[i] = heard[i];
    for (uint32_t i = 0; i < size; i++)
      heard[i] = heard[size + i];
    fourier_forward(sums, s->turns, points);
    for (uint32_t i = 0; i < points; i++) {
      newest[i] = sums[i];
      sums[i] = 0;
    }
    for (uint32_t k = 0, at = s->newest; k < partitions; k++) {
      convolution_reverb_add(sums, past + at * points, s->spectra + k * points, points);
      at = at + 1 < partitions ? at + 1 : 0;
    }
    fourier_inverse(sums, s->turns, points);
    float *said = s->said + c * size;
    for (uint32_t i = 0; i < size; i++)
      said[i] = (float)((real)sums[size + i] * scale);
  }
  s->place = 0;
}

KERNEL_INLINE void convolution_reverb_run(convolution_reverb_state *s, const kernel_env *env, const float *const in[],
                                          float *const out[], uint32_t n) {
  for (uint32_t done = 0; done < n;) {
    const uint32_t left = s->size - s->place;
    const uint32_t run = n - done < left ? n - done : left;
    for (uint32_t c = 0; c < env->channels; c++) {
      const float *x = in[c] + done;
      float *y = out[c] + done;
      float *heard = s->heard + (2 * c + 1) * s->size + s->place;
      const float *said = s->said + c * s->size + s->place;
      for (uint32_t i = 0; i < run; i++) {
        heard[i] = x[i];
        y[i] = said[i];
      }
    }
    s->place += run;
    if (s->place == s->size)
      convolution_reverb_hop_partition(s, env);
    done += run;
  }
}
KERNEL_BLOCK(convolution_reverb)

#ifdef KERNEL_STIMULI
static __attribute__((unused)) void convolution_reverb_rewind(convolution_reverb_state *s) {
  s->place = 0;
}

// The costliest samples are denormal.
void convolution_reverb_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-38f : 0.5f);
}
#endif
