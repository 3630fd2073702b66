// Soft clip by table: y = tanh(v), v = d x[n] held within +-6, d the drive, read from a table of N steps over -6..6 with
// straight lines between its entries (any text on waveshaping).
#include "kernel.h"

typedef struct {
  float drive;
  uint32_t length; // steps of the table
} table_clip_params;

typedef struct {
  float drive;
  const float *table;
  float middle; // half the steps
} table_clip_state;

uint32_t table_clip_state_bytes(const kernel_env *env, const table_clip_params *p) {
  (void)env, (void)p;
  return sizeof(table_clip_state);
}

// House judgement: beyond 6 tanh is within 1.3e-5 of 1, as near as a straight line of 1024 steps comes.
static const real table_clip_end = 6;

// What is held just within the end never reads beyond the last entry.
static const real table_clip_corner = (real)5.99999;

uint32_t table_clip_table_bytes(const kernel_env *env, const table_clip_params *p, uint32_t table) {
  (void)env, (void)table;
  return (p->length + 1) * sizeof(float);
}

// The table is made once, away from the signal, in double precision.
void table_clip_table_fill(const kernel_env *env, const table_clip_params *p, uint32_t table, void *at) {
  (void)env, (void)table;
  float *y = at;
  for (uint32_t i = 0; i <= p->length; i++)
    y[i] = (float)tanh((double)table_clip_end * (2.0 * i / p->length - 1));
}

#ifdef KERNEL_STIMULI
static float table_clip_driven = 1; // by the start before; a moved drive wanders about 1
#endif

void table_clip_start(table_clip_state *s, const kernel_env *env, const table_clip_params *p, void *const buffers[]) {
  (void)env;
  s->drive = p->drive;
  s->table = buffers[0];
  s->middle = 0.5f * (float)p->length;
#if defined(KERNEL_STIMULI) && !defined(MOVED_DRIVE_AUDIO)
  table_clip_driven = p->drive;
#endif
}

KERNEL_INLINE float table_clip_at(const float *table, real middle, real per_unit, real v) {
  const real held = v < -table_clip_corner ? -table_clip_corner : v > table_clip_corner ? table_clip_corner : v;
  const real place = middle + per_unit * held;
  const uint32_t whole = (uint32_t)place;
  const real here = table[whole];
  return (float)(here + (place - (real)whole) * (table[whole + 1] - here));
}

KERNEL_INLINE void table_clip_run(table_clip_state *s, const kernel_env *env, const float *const in[], float *const out[],
                                  uint32_t n) {
  const uint32_t channels = env->channels;
  const float *table = s->table;
  const real middle = s->middle, per_unit = middle * (real)(1.0 / 6.0);
#ifdef MOVED_DRIVE_AUDIO
  const float *drive = in[channels];
#else
  const real drive = s->drive;
#endif
  for (uint32_t c = 0; c < channels; c++) {
    const float *x = in[c];
    float *y = out[c];
    for (uint32_t i = 0; i < n; i++) {
#ifdef MOVED_DRIVE_AUDIO
      y[i] = table_clip_at(table, middle, per_unit, (real)drive[i] * x[i]);
#else
      y[i] = table_clip_at(table, middle, per_unit, drive * x[i]);
#endif
    }
  }
}
KERNEL_BLOCK(table_clip)

#ifdef KERNEL_STIMULI
// As loud at every drive, within the table. The costliest are denormal, and so small that they are after any drive.
void table_clip_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  if (channel == KERNEL_MOVED) {
    kernel_ramp(x, n, 1.0f, costliest ? 1.2f : 2.0f);
    return;
  }
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-42f : 2 / table_clip_driven);
}
#endif
