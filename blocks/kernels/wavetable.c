// Wavetable oscillator: phase += pitch / sample rate, wrapping in 32 bits; y[n] = table[band](length phase), by the
// nearest entry, a straight line (F.R. Moore, Table Lookup Noise for Sinusoidal Digital Oscillators, Computer Music
// Journal 1(2), 1977) or a four-point Hermite curve (in the form of L. de Soras, public archive).
#include "kernel.h"

// Entries that stand before the first of a turn, and in all beyond a turn, so that no reading wraps.
#if defined(INTERPOLATION_NONE)
enum { wavetable_before = 0, wavetable_guard = 0 };
#elif defined(INTERPOLATION_LINEAR)
enum { wavetable_before = 0, wavetable_guard = 1 };
#elif defined(INTERPOLATION_CUBIC)
enum { wavetable_before = 1, wavetable_guard = 3 };
#else
#error "wavetable: define INTERPOLATION_NONE, INTERPOLATION_LINEAR or INTERPOLATION_CUBIC"
#endif

typedef struct {
  float pitch;     // hertz
  uint32_t length; // entries of one table
  uint32_t tables; // from most harmonics to least, each with half as many as the one before
  uint32_t wave;   // 1 to 64
} wavetable_params;

typedef struct {
  uint32_t phase;     // a turn is 2^32
  uint32_t increment; // a sample
  uint32_t band;      // table that suits the increment
  const float *waves;
  uint32_t bits; // of an index into a table
  uint32_t tables;
} wavetable_state;

uint32_t wavetable_state_bytes(const kernel_env *env, const wavetable_params *p) {
  (void)env, (void)p;
  return sizeof(wavetable_state);
}

static uint32_t wavetable_bits(const wavetable_params *p) {
  uint32_t bits = 0;
  while ((uint32_t)1 << bits < p->length)
    bits++;
  return bits;
}

KERNEL_INLINE uint32_t wavetable_stride(uint32_t bits) {
  return ((uint32_t)1 << bits) + wavetable_guard;
}

uint32_t wavetable_table_bytes(const kernel_env *env, const wavetable_params *p, uint32_t table) {
  (void)env, (void)table;
  return p->tables * wavetable_stride(wavetable_bits(p)) * sizeof(float);
}

// Waves to try the oscillator with: sines, of which harmonic h has the amplitude 0.5 / h^wave, so that wave 1 is a
// sawtooth and wave 64 a bare sine. The last table holds one harmonic, the one before it two, and so on up to 16. The
// set is made once, away from the signal: a pointer is turned from entry to entry of the last table, in double
// precision; every other table continues the one after it with harmonics taken from the last.
void wavetable_table_fill(const kernel_env *env, const wavetable_params *p, uint32_t table, void *at) {
  (void)env, (void)table;
  const uint32_t bits = wavetable_bits(p);
  const uint32_t length = (uint32_t)1 << bits, stride = wavetable_stride(bits);
  float *last = (float *)at + (p->tables - 1) * stride + wavetable_before;
  const double turn = 2 * 3.14159265358979323846 / length;
  const double along = cos(turn), aside = sin(turn);
  double cosine = 1, sine = 0;
  for (uint32_t i = 0; i < length; i++) {
    last[i] = (float)(0.5 * sine);
    const double ahead = sine * along + cosine * aside;
    cosine = cosine * along - sine * aside;
    sine = ahead;
  }
  uint32_t harmonics = 1;
  for (float *wave = last; wave != (float *)at + wavetable_before;) {
    const float *next = wave;
    wave -= stride;
    for (uint32_t i = 0; i < length; i++)
      wave[i] = next[i];
    const uint32_t more = harmonics < 16 ? 2 * harmonics : harmonics;
    for (uint32_t h = harmonics + 1; h <= more; h++) {
      const float amplitude = (float)pow(h, -(double)p->wave);
      for (uint32_t i = 0; i < length; i++)
        wave[i] += amplitude * last[h * i & (length - 1)];
    }
    harmonics = more;
  }
  float *wave = at;
  for (uint32_t t = 0; t < p->tables; t++, wave += stride) {
    for (int i = 0; i < wavetable_before; i++)
      wave[i] = wave[(int)length + i];
    for (int i = wavetable_before; i < wavetable_guard; i++)
      wave[(int)length + i] = wave[i];
  }
}

KERNEL_INLINE uint32_t wavetable_increment(real turns_per_hertz, real pitch) {
  return (uint32_t)(turns_per_hertz * pitch);
}

// Table t of T holds at most 2^(T-1-t) harmonics, which must stay below half the sample rate: 2^(T-1-t) increment < 2^31.
// The exponent of a float tells the leading zeros of the increment.
KERNEL_INLINE uint32_t wavetable_band(uint32_t increment, uint32_t tables) {
  const int32_t octave = (int32_t)(kernel_bits((float)increment) >> 23) - 127;
  const int32_t band = (int32_t)tables + octave - 31;
  return band > 0 ? (uint32_t)band : 0;
}

void wavetable_update_increment(wavetable_state *s, const kernel_env *env, const wavetable_params *p) {
  s->increment = wavetable_increment(4294967296.0f / (real)env->sample_rate, p->pitch);
  s->band = wavetable_band(s->increment, s->tables);
}

void wavetable_start(wavetable_state *s, const kernel_env *env, const wavetable_params *p, void *const buffers[]) {
  s->phase = 0;
  s->waves = buffers[0];
  s->bits = wavetable_bits(p);
  s->tables = p->tables;
  wavetable_update_increment(s, env, p);
}

void wavetable_event_sync(wavetable_state *s, const kernel_env *env, const kernel_event *event,
                          const float *const in[]) {
  (void)env, (void)in;
  if (event->value)
    s->phase = 0;
}

KERNEL_INLINE float wavetable_read(const float *table, uint32_t phase, uint32_t bits) {
#if defined(INTERPOLATION_NONE)
  // Half an entry on, the cut becomes a rounding.
  return table[(phase + ((uint32_t)0x80000000u >> bits)) >> (32 - bits)];
#else
  const float *entry = table + (phase >> (32 - bits));
  const real fraction = (real)(phase << bits) * (real)(1.0 / 4294967296.0);
#if defined(INTERPOLATION_LINEAR)
  return (float)(entry[0] + fraction * ((real)entry[1] - entry[0]));
#else
  const real before = entry[0], here = entry[1], next = entry[2], after = entry[3];
  const real slope = (real)0.5 * (next - before);
  const real rise = here - next;
  const real bend = slope + rise;
  const real cube = bend + rise + (real)0.5 * (after - here);
  const real square = bend + cube;
  return (float)(((cube * fraction - square) * fraction + slope) * fraction + here);
#endif
#endif
}

KERNEL_INLINE void wavetable_run(wavetable_state *s, const kernel_env *env, const float *const in[], float *const out[],
                                 uint32_t n) {
  float *y = out[0];
  uint32_t phase = s->phase;
  const uint32_t bits = s->bits;
#ifdef MOVED_PITCH_AUDIO
  const float *pitch = in[0];
  const real turns_per_hertz = 4294967296.0f / (real)env->sample_rate;
#else
  (void)env, (void)in;
  const uint32_t increment = s->increment;
  const float *table = s->waves + s->band * wavetable_stride(bits);
#endif
  for (uint32_t i = 0; i < n; i++) {
#ifdef MOVED_PITCH_AUDIO
    const uint32_t increment = wavetable_increment(turns_per_hertz, pitch[i]);
    const float *table = s->waves + wavetable_band(increment, s->tables) * wavetable_stride(bits);
#endif
    y[i] = wavetable_read(table, phase, bits);
    phase += increment;
  }
  s->phase = phase;
}
KERNEL_BLOCK(wavetable)

#ifdef KERNEL_STIMULI
// A moved pitch; none costs more than another, and a high one meets the whole wave within few samples.
void wavetable_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  (void)costliest, (void)channel, (void)block;
  kernel_ramp(x, n, 5000.0f, 7000.0f);
}
#endif
