// Sine oscillator: phase += pitch / sample rate, wrapping in 32 bits; y[n] = sin(2 pi phase), by the library, by an odd
// polynomial on a quarter turn, or by a table with straight lines between its entries (F.R. Moore, Table Lookup Noise
// for Sinusoidal Digital Oscillators, Computer Music Journal 1(2), 1977).
#include "kernel.h"

#if !defined(METHOD_LIBRARY) && !defined(METHOD_POLYNOMIAL) && !defined(METHOD_TABLE)
#error "sine: define METHOD_LIBRARY, METHOD_POLYNOMIAL or METHOD_TABLE"
#endif

typedef struct {
  float pitch;     // hertz
  uint32_t length; // entries of the table
} sine_params;

typedef struct {
  uint32_t phase;     // a turn is 2^32
  uint32_t increment; // a sample
#ifdef METHOD_TABLE
  const float *table;
  uint32_t bits; // of an index into the table
#endif
} sine_state;

uint32_t sine_state_bytes(const kernel_env *env, const sine_params *p) {
  (void)env, (void)p;
  return sizeof(sine_state);
}

#ifdef METHOD_TABLE
static uint32_t sine_bits(const sine_params *p) {
  uint32_t bits = 0;
  while ((uint32_t)1 << bits < p->length)
    bits++;
  return bits;
}
#endif

// One turn and its first entry again, so that no reading wraps.
uint32_t sine_table_bytes(const kernel_env *env, const sine_params *p, uint32_t table) {
  (void)env, (void)p, (void)table;
#ifdef METHOD_TABLE
  return (((uint32_t)1 << sine_bits(p)) + 1) * sizeof(float);
#else
  return 0;
#endif
}

// The table is made once, away from the signal: a pointer is turned from entry to entry, in double precision, in which
// its errors stay far below those of an entry.
void sine_table_fill(const kernel_env *env, const sine_params *p, uint32_t table, void *at) {
  const uint32_t entries = sine_table_bytes(env, p, table) / sizeof(float);
  const double turn = 2 * 3.14159265358979323846 / (entries - 1);
  const double along = cos(turn), aside = sin(turn);
  double cosine = 1, sine = 0;
  float *y = at;
  for (uint32_t i = 0; i < entries; i++) {
    y[i] = (float)sine;
    const double ahead = sine * along + cosine * aside;
    cosine = cosine * along - sine * aside;
    sine = ahead;
  }
}

KERNEL_INLINE uint32_t sine_increment(real turns_per_hertz, real pitch) {
  return (uint32_t)(turns_per_hertz * pitch);
}

void sine_update_increment(sine_state *s, const kernel_env *env, const sine_params *p) {
  s->increment = sine_increment(4294967296.0f / (real)env->sample_rate, p->pitch);
}

void sine_start(sine_state *s, const kernel_env *env, const sine_params *p, void *const buffers[]) {
  s->phase = 0;
  sine_update_increment(s, env, p);
#ifdef METHOD_TABLE
  s->table = buffers[0];
  s->bits = sine_bits(p);
#else
  (void)buffers;
#endif
}

void sine_event_sync(sine_state *s, const kernel_env *env, const kernel_event *event, const float *const in[]) {
  (void)env, (void)in;
  if (event->value)
    s->phase = 0;
}

#if defined(METHOD_LIBRARY)
KERNEL_INLINE real sine_at(uint32_t phase) {
  return kernel_sin((real)(int32_t)phase * (kernel_pi / 2147483648.0f));
}
#elif defined(METHOD_POLYNOMIAL)
// Minimax fit of our own, by Remez exchange; greatest error 5.9e-7.
KERNEL_INLINE real sine_at(uint32_t phase) {
  // The second and third quarter are mirrored onto the fourth and first: there the two upper bits differ.
  if ((phase ^ phase << 1) & 0x80000000u)
    phase = 0x80000000u - phase;
  const real quarters = (real)(int32_t)phase * (real)(1.0 / 1073741824.0);
  const real square = quarters * quarters;
  return quarters * ((real)1.57079101108 +
                     square * ((real)-0.645892849548 + square * ((real)0.0794343446169 + square * (real)-0.00433309529249)));
}
#endif

KERNEL_INLINE void sine_run(sine_state *s, const kernel_env *env, const float *const in[], float *const out[],
                            uint32_t n) {
  float *y = out[0];
  uint32_t phase = s->phase;
#ifdef METHOD_TABLE
  const float *table = s->table;
  const uint32_t bits = s->bits;
#endif
#ifdef MOVED_PITCH_AUDIO
  const float *pitch = in[0];
  const real turns_per_hertz = 4294967296.0f / (real)env->sample_rate;
#else
  (void)env, (void)in;
  const uint32_t increment = s->increment;
#endif
  for (uint32_t i = 0; i < n; i++) {
#ifdef METHOD_TABLE
    const float *entry = table + (phase >> (32 - bits));
    const real fraction = (real)(phase << bits) * (real)(1.0 / 4294967296.0);
    y[i] = (float)(entry[0] + fraction * ((real)entry[1] - entry[0]));
#else
    y[i] = (float)sine_at(phase);
#endif
#ifdef MOVED_PITCH_AUDIO
    phase += sine_increment(turns_per_hertz, pitch[i]);
#else
    phase += increment;
#endif
  }
  s->phase = phase;
}
KERNEL_BLOCK(sine)

#ifdef KERNEL_STIMULI
// A moved pitch. No value of it costs more than another; the quarters of the wave do, and a high pitch meets all of them
// within few samples.
void sine_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  (void)channel, (void)block;
  kernel_ramp(x, n, costliest ? 10000.0f : 5000.0f, costliest ? 11000.0f : 7000.0f);
}
#endif
