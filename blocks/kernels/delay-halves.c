// The delay in two calls, for a line that closes a loop and is longer than a block: it gives its output before it takes
// its input. The line is read twice where there is feedback, once for each half.
#include "delay.c"

void delay_read_half(const delay_state *s, const kernel_env *env, float *const out[]) {
  const uint32_t channels = env->channels, length = s->length, n = env->block_size, taps = s->taps;
  for (uint32_t c = 0; c < channels; c++) {
    const kernel_sample *line = s->line + c;
    float *y = out[c];
    uint32_t index = s->index;
    if (taps == 1) {
      const uint32_t offset = s->tap[0].offset;
      const real fraction = delay_fraction(&s->tap[0]);
      for (uint32_t i = 0; i < n; i++) {
        y[i] = (float)delay_read(line, length, channels, index, offset, fraction);
        index += channels;
        if (index == length)
          index = 0;
      }
    } else {
      for (uint32_t i = 0; i < n; i++) {
        real sum = 0;
        for (uint32_t k = 0; k < taps; k++) {
          const delay_tap *tap = &s->tap[k];
          sum += tap->gain * delay_read(line, length, channels, index, tap->offset, delay_fraction(tap));
        }
        y[i] = (float)sum;
        index += channels;
        if (index == length)
          index = 0;
      }
    }
  }
}

void delay_write_half(delay_state *s, const kernel_env *env, const float *const in[]) {
  const uint32_t channels = env->channels, length = s->length, n = env->block_size;
  const delay_tap *far = &s->tap[s->taps - 1];
  const uint32_t offset = far->offset;
  const real feedback = s->feedback, fraction = delay_fraction(far);
  uint32_t index = s->index;
  for (uint32_t c = 0; c < channels; c++) {
    const float *x = in[c];
    kernel_sample *line = s->line + c;
    index = s->index;
    if (feedback == 0) {
      for (uint32_t i = 0; i < n; i++) {
        line[index] = kernel_to_sample(x[i]);
        index += channels;
        if (index == length)
          index = 0;
      }
    } else {
      for (uint32_t i = 0; i < n; i++) {
        const real echo = delay_read(line, length, channels, index, offset, fraction);
        line[index] = kernel_to_sample(x[i] + feedback * echo);
        index += channels;
        if (index == length)
          index = 0;
      }
    }
  }
  s->index = index;
}
