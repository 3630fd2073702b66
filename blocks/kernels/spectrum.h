// Overlapping frames: a sound is cut into frames under a window, each is transformed, changed and transformed back,
// and under the same window they are added up again. The window is the square root of a raised cosine, whose squares
// add up to overlap / 2 (J. Allen and L. Rabiner, Proceedings of the IEEE 65(11), 1977, from memory).
#ifndef SPECTRUM_H
#define SPECTRUM_H

#include "fourier.h"

typedef struct {
  float *heard, *said;         // the last frame of sound and the next, of each channel
  float *bins;                 // the frame that is worked on
  const float *window, *turns; // tables
  uint32_t points, hop;        // samples of a frame, and from one frame to the next
  uint32_t place, left;        // in the frames, and samples to the next hop
  float scale;                 // of what is said
} spectrum;

static inline uint32_t spectrum_points(uint32_t frame) {
  return 512u << frame; // the choices of the catalog, in order
}

static inline uint32_t spectrum_hop(uint32_t frame, uint32_t overlap) {
  return spectrum_points(frame) >> (overlap + 1);
}

// Bytes of the buffers heard, said and bins.
static inline uint32_t spectrum_buffer_bytes(uint32_t frame, uint32_t channels, uint32_t buffer) {
  return spectrum_points(frame) * (buffer < 2 ? channels : 1) * (uint32_t)sizeof(float);
}

// The tables are the window and the turns, as many words each as a frame has samples.
static inline void spectrum_table_fill(uint32_t frame, uint32_t table, void *to) {
  const uint32_t points = spectrum_points(frame);
  float *words = to;
  if (table == 1)
    fourier_fill(words, points);
  else
    for (uint32_t i = 0; i < points; i++)
      words[i] = (float)sin(3.141592653589793 * (i + 0.5) / points);
}

static inline void spectrum_start(spectrum *s, uint32_t frame, uint32_t overlap, void *const buffers[], void *const tables[]) {
  s->heard = buffers[0];
  s->said = buffers[1];
  s->bins = buffers[2];
  s->window = tables[0];
  s->turns = tables[1];
  s->points = spectrum_points(frame);
  s->hop = spectrum_hop(frame, overlap);
  s->place = 0;
  s->left = s->hop;
  s->scale = 2.0f / (float)(s->points << overlap);
}

static inline void spectrum_rewind(spectrum *s) {
  s->place = 0;
  s->left = s->hop;
}

// Samples up to the next hop at most: frames take what is heard and give what is said.
KERNEL_INLINE void spectrum_pass(spectrum *s, uint32_t channels, const float *const in[], float *const out[],
                                 uint32_t done, uint32_t run) {
  for (uint32_t c = 0; c < channels; c++) {
    const float *x = in[c] + done;
    float *y = out[c] + done;
    float *heard = s->heard + c * s->points + s->place, *said = s->said + c * s->points + s->place;
    for (uint32_t i = 0; i < run; i++) {
      heard[i] = x[i];
      y[i] = said[i];
      said[i] = 0;
    }
  }
  s->place += run;
  s->left -= run;
  if (s->place == s->points)
    s->place = 0;
}

// The bins of the last frame that a channel heard.
static inline void spectrum_analyse(spectrum *s, uint32_t channel) {
  const float *heard = s->heard + channel * s->points;
  const uint32_t older = s->points - s->place;
  for (uint32_t i = 0; i < older; i++)
    s->bins[i] = (float)((real)heard[s->place + i] * (real)s->window[i]);
  for (uint32_t i = older; i < s->points; i++)
    s->bins[i] = (float)((real)heard[i - older] * (real)s->window[i]);
  fourier_forward(s->bins, s->turns, s->points);
}

// Adds the bins, as samples again, to what a channel says next.
static inline void spectrum_speak(spectrum *s, uint32_t channel) {
  fourier_inverse(s->bins, s->turns, s->points);
  float *said = s->said + channel * s->points;
  const uint32_t older = s->points - s->place;
  for (uint32_t i = 0; i < older; i++)
    said[s->place + i] = (float)((real)said[s->place + i] + (real)s->bins[i] * (real)s->window[i] * (real)s->scale);
  for (uint32_t i = older; i < s->points; i++)
    said[i - older] = (float)((real)said[i - older] + (real)s->bins[i] * (real)s->window[i] * (real)s->scale);
  s->left = s->hop;
}

#endif
