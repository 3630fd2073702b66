// Granular player: y[n] = c sum over grains of h(k) s(p + r k), h(k) = cos^2(pi (k / L - 1/2)), a raised cosine, k from 0 to
// below T and round again with p and r drawn anew, h = 0 from L on; L = grain x sample rate, T = grains x sample rate / density
// or L where that is longer, p = place + scatter u of the recording, which goes round, r = speed (1 + spread v), u from 0 to
// 1, v from -1 to 1, c = 1 / sqrt(1 + 3/8 G) for the G = grains L / T that sound at once. The grains begin at even
// distances.
#include "recording.h"
#include "unheard.h"

enum { granular_player_flash, granular_player_ram };

typedef struct {
  uint32_t recording;    // its number
  float time, grain;     // seconds
  float density;         // grains that begin in a second
  float place, scatter;  // shares of the recording
  float speed, spread;   // ratio, and share of it
  uint32_t grains;
  uint32_t memory; // flash or ram
} granular_player_params;

typedef struct {
  uint32_t age;            // k
  uint32_t whole, part;    // position in samples, and 2^-32 of one
  uint32_t step, fraction; // r, likewise
} granular_player_grain;

typedef struct {
  const kernel_sample *sound;
  uint32_t length; // samples
  uint32_t seed;
  uint32_t grains, span, cycle; // span: L, cycle: T
  float place, scatter, speed, spread;
  float turn, scale; // 1 / L, and c
  granular_player_grain grain[];
} granular_player_state;

uint32_t granular_player_state_bytes(const kernel_env *env, const granular_player_params *p) {
  (void)env;
  return sizeof(granular_player_state) + p->grains * sizeof(granular_player_grain);
}

// The recording in flash and its copy in RAM, of which one is read.
uint32_t granular_player_table_bytes(const kernel_env *env, const granular_player_params *p, uint32_t table) {
  return table == p->memory ? recording_length(env, p->time) * sizeof(kernel_sample) : 0;
}

void granular_player_table_fill(const kernel_env *env, const granular_player_params *p, uint32_t table, void *at) {
  (void)table;
  recording_fill(env, p->time, p->recording, at);
}

static inline void granular_player_begin(granular_player_state *s, granular_player_grain *grain) {
  const real from = (s->place + s->scatter * recording_random(&s->seed)) * (real)s->length;
  const real speed = s->speed * (1 + s->spread * (2 * recording_random(&s->seed) - 1));
  grain->age = 0;
  grain->whole = (uint32_t)from % s->length;
  grain->part = 0;
  grain->step = (uint32_t)speed;
  grain->fraction = (uint32_t)((speed - (real)grain->step) * (real)4294967296.0);
}

void granular_player_update_density(granular_player_state *s, const kernel_env *env, const granular_player_params *p) {
  const uint32_t cycle = (uint32_t)((float)s->grains * env->sample_rate / p->density);
  s->cycle = cycle > s->span ? cycle : s->span;
  const uint32_t one = 8 * s->cycle;
  s->scale = sqrtf((float)one / (float)(one + 3 * s->grains * s->span));
}

void granular_player_update_place(granular_player_state *s, const kernel_env *env, const granular_player_params *p) {
  (void)env;
  s->place = p->place;
  s->scatter = p->scatter;
}

void granular_player_update_speed(granular_player_state *s, const kernel_env *env, const granular_player_params *p) {
  (void)env;
  s->speed = p->speed;
  s->spread = p->spread;
}

void granular_player_start(granular_player_state *s, const kernel_env *env, const granular_player_params *p,
                           void *const buffers[]) {
  *s = (granular_player_state){
      .sound = buffers[p->memory],
      .length = recording_length(env, p->time),
      .seed = 0x2545f491u,
      .grains = p->grains,
      .span = (uint32_t)(p->grain * env->sample_rate),
  };
  s->turn = 1.0f / (float)s->span;
  granular_player_update_density(s, env, p);
  granular_player_update_place(s, env, p);
  granular_player_update_speed(s, env, p);
  for (uint32_t g = 0; g < p->grains; g++) {
    granular_player_begin(s, &s->grain[g]);
    s->grain[g].age = g * s->cycle / p->grains;
  }
}

// cos^2(pi x) for x from -1/2 to 1/2: the square of a form that vanishes at both ends, minimax fit of our own, greatest error
// 1.4e-5.
KERNEL_INLINE real granular_player_window(real x) {
  const real u = x * x;
  const real cosine = (1 - 4 * u) * (1 + u * ((real)-0.9348022005 + u * (real)0.3126322319));
  return cosine * cosine;
}

KERNEL_INLINE void granular_player_run(granular_player_state *s, const kernel_env *env, const float *const in[],
                                       float *const out[], uint32_t n) {
  (void)env, (void)in;
  float *y = out[0];
  const kernel_sample *sound = s->sound;
  const uint32_t length = s->length, grains = s->grains, span = s->span, cycle = s->cycle;
  const real turn = s->turn, scale = s->scale;
  for (uint32_t i = 0; i < n; i++) {
    real sum = 0;
    for (uint32_t g = 0; g < grains; g++) {
      granular_player_grain *grain = &s->grain[g];
      // One that waits stands at the window's end, and so costs the same.
      const uint32_t age = grain->age < span ? grain->age : span;
      const real weight = granular_player_window((real)age * turn - (real)0.5);
      const real fraction = (real)grain->part * (real)(1.0 / 4294967296.0);
      sum += weight * recording_line(sound, length, grain->whole, fraction);
      grain->part += grain->fraction;
      grain->whole += grain->step + (grain->part < grain->fraction);
      if (grain->whole >= length)
        grain->whole -= length;
      if (++grain->age >= cycle)
        granular_player_begin(s, grain);
    }
    y[i] = (float)(scale * sum);
  }
}
KERNEL_BLOCK(granular_player)

UNHEARD_STIMULUS(granular_player)
