// Table oscillator in fixed point: phase += pitch / sample rate, wrapping in 32 bits; y[n] = table[band](length phase), by
// the nearest entry or a straight line (F.R. Moore, Table Lookup Noise for Sinusoidal Digital Oscillators, Computer Music
// Journal 1(2), 1977). Entries are words of sixteen bits; a straight line between them has thirty-two.
#define WORD_Q15
#include "fixed.h"
#include "fixed-phase.h"

// Entries beyond a turn, so that no reading wraps.
#if defined(INTERPOLATION_NONE)
enum { fixed_table_guard = 0 };
#elif defined(INTERPOLATION_LINEAR)
enum { fixed_table_guard = 1 };
#else
#error "fixed-table: define INTERPOLATION_NONE or INTERPOLATION_LINEAR"
#endif

typedef struct {
  float pitch;     // hertz
  uint32_t length; // entries of one table
  uint32_t tables; // from most harmonics to least, each with half as many as the one before
  uint32_t wave;   // 1 to 64
} fixed_table_params;

typedef struct {
  uint32_t phase;     // a turn is 2^32
  uint32_t increment; // a sample
  float per_hertz;    // of the increment
  uint32_t band;      // table that suits the increment
  const fixed_word *waves;
  uint32_t bits; // of an index into a table
  uint32_t tables;
} fixed_table_state;

uint32_t fixed_table_state_bytes(const kernel_env *env, const fixed_table_params *p) {
  (void)env, (void)p;
  return sizeof(fixed_table_state);
}

static uint32_t fixed_table_bits(const fixed_table_params *p) {
  uint32_t bits = 0;
  while ((uint32_t)1 << bits < p->length)
    bits++;
  return bits;
}

KERNEL_INLINE uint32_t fixed_table_stride(uint32_t bits) {
  return ((uint32_t)1 << bits) + fixed_table_guard;
}

uint32_t fixed_table_table_bytes(const kernel_env *env, const fixed_table_params *p, uint32_t table) {
  (void)env, (void)table;
  return p->tables * fixed_table_stride(fixed_table_bits(p)) * sizeof(fixed_word);
}

// Waves to try the oscillator with: sines, of which harmonic h has the amplitude 0.5 / h^wave, so that wave 1 is a
// sawtooth and wave 64 a bare sine. The last table holds one harmonic, the one before it two, and so on up to 16. The
// set is made once, away from the signal: a pointer is turned from entry to entry of the last table, in double
// precision; every other table continues the one after it with harmonics taken from the last.
void fixed_table_table_fill(const kernel_env *env, const fixed_table_params *p, uint32_t table, void *at) {
  (void)env, (void)table;
  const uint32_t bits = fixed_table_bits(p);
  const uint32_t length = (uint32_t)1 << bits, stride = fixed_table_stride(bits);
  fixed_word *last = (fixed_word *)at + (p->tables - 1) * stride;
  const double turn = 2 * 3.14159265358979323846 / length;
  const double along = cos(turn), aside = sin(turn);
  double cosine = 1, sine = 0;
  for (uint32_t i = 0; i < length; i++) {
    last[i] = (fixed_word)((int32_t)(16384 * sine + 32768.5) - 32768); // rounded to the nearest
    const double ahead = sine * along + cosine * aside;
    cosine = cosine * along - sine * aside;
    sine = ahead;
  }
  uint32_t harmonics = 1;
  for (fixed_word *wave = last; wave != (fixed_word *)at;) {
    const fixed_word *next = wave;
    wave -= stride;
    for (uint32_t i = 0; i < length; i++)
      wave[i] = next[i];
    const uint32_t more = harmonics < 16 ? 2 * harmonics : harmonics;
    for (uint32_t h = harmonics + 1; h <= more; h++) {
      const int32_t amplitude = (int32_t)(32768 * pow(h, -(double)p->wave));
      for (uint32_t i = 0; i < length; i++)
        wave[i] = (fixed_word)(wave[i] + ((amplitude * last[h * i & (length - 1)] + 0x4000) >> 15));
    }
    harmonics = more;
  }
#ifdef INTERPOLATION_LINEAR
  fixed_word *wave = at;
  for (uint32_t t = 0; t < p->tables; t++, wave += stride)
    wave[length] = wave[0];
#endif
}

// Table t of T holds at most 2^(T-1-t) harmonics, which must stay below half the sample rate: 2^(T-1-t) increment < 2^31.
KERNEL_INLINE uint32_t fixed_table_band(uint32_t increment, uint32_t tables) {
  const int32_t band = (int32_t)tables - (int32_t)__builtin_clz(increment | 1);
  return band > 0 ? (uint32_t)band : 0;
}

void fixed_table_update_increment(fixed_table_state *s, const kernel_env *env, const fixed_table_params *p) {
  (void)env;
  s->increment = fixed_phase_increment(s->per_hertz, p->pitch);
  s->band = fixed_table_band(s->increment, s->tables);
}

void fixed_table_start(fixed_table_state *s, const kernel_env *env, const fixed_table_params *p, void *const buffers[]) {
  s->phase = 0;
  s->per_hertz = fixed_phase_per_hertz(env);
  s->waves = buffers[0];
  s->bits = fixed_table_bits(p);
  s->tables = p->tables;
  fixed_table_update_increment(s, env, p);
}

void fixed_table_event_sync(fixed_table_state *s, const kernel_env *env, const kernel_event *event,
                            const float *const in[]) {
  (void)env, (void)in;
  if (event->value)
    s->phase = 0;
}

KERNEL_INLINE int32_t fixed_table_read(const fixed_word *table, uint32_t phase, uint32_t bits) {
#ifdef INTERPOLATION_NONE
  // Half an entry on, the cut becomes a rounding.
  return fixed_lengthen(table[(phase + ((uint32_t)0x80000000u >> bits)) >> (32 - bits)]);
#else
  const fixed_word *entry = table + (phase >> (32 - bits));
  const int32_t here = entry[0], rise = entry[1] - here;
  const int32_t fraction = (int32_t)(phase << bits >> 17);
  // Exact: what overflows on the way comes back, since the end lies between the two entries.
  return (int32_t)(((uint32_t)here << 16) + ((uint32_t)(rise * fraction) << 1));
#endif
}

KERNEL_INLINE void fixed_table_run(fixed_table_state *s, const kernel_env *env, const float *const in[],
                                   float *const out[], uint32_t n) {
  (void)env;
  float *y = out[0];
  uint32_t phase = s->phase;
  const uint32_t bits = s->bits;
#ifdef MOVED_PITCH_AUDIO
  const float *pitch = in[0];
  const float per_hertz = s->per_hertz;
#else
  (void)in;
  const uint32_t increment = s->increment;
  const fixed_word *table = s->waves + s->band * fixed_table_stride(bits);
#endif
  for (uint32_t i = 0; i < n; i++) {
#ifdef MOVED_PITCH_AUDIO
    const uint32_t increment = fixed_phase_increment(per_hertz, pitch[i]);
    const fixed_word *table = s->waves + fixed_table_band(increment, s->tables) * fixed_table_stride(bits);
#endif
    y[i] = fixed_to_float(fixed_table_read(table, phase, bits));
    phase += increment;
  }
  s->phase = phase;
}
KERNEL_BLOCK(fixed_table)

#ifdef KERNEL_STIMULI
// A moved pitch; a high one meets the whole wave within few samples.
void fixed_table_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  (void)costliest, (void)channel, (void)block;
  kernel_ramp(x, n, 5000.0f, 7000.0f);
}
#endif
