// Envelope with attack, decay, sustain and release in fixed point: e[n] = e[n-1] + s (target - e[n-1]), s = 1 - exp(-k /
// (time rate)), once a control period (any text on exponential segments). The attack makes for 1.2 and ends at 1, so k =
// ln 6; the 1.2 is house judgement. Decay and release come within -60 dB of their targets, so k = ln 1000. The level has
// one bit above 1 (Q1.30 in Arm's notation, from memory).
#define WORD_Q31
#include "fixed.h"

typedef struct {
  float attack, decay; // seconds
  float sustain;
  float release; // seconds
} fixed_envelope_params;

enum { fixed_envelope_attack, fixed_envelope_decay, fixed_envelope_release, fixed_envelope_segments };
enum { fixed_envelope_idle = fixed_envelope_segments };

typedef struct {
  int32_t level; // in fractions of 2^30, as is what it makes for
  uint32_t segment;
  int32_t sustain;
  int32_t step[fixed_envelope_segments]; // share of the way that is left, a word
} fixed_envelope_state;

static const int32_t fixed_envelope_top = 1 << 30;
static const int32_t fixed_envelope_attack_target = 1288490189;      // 1.2
static const real fixed_envelope_attack_constants = (real)1.79175946923; // ln 6
static const real fixed_envelope_fall_constants = (real)6.90775527898;   // ln 1000

// Nearer to its target than this, -100 dB, a fall is over.
static const int32_t fixed_envelope_near = 10737;

uint32_t fixed_envelope_state_bytes(const kernel_env *env, const fixed_envelope_params *p) {
  (void)env, (void)p;
  return sizeof(fixed_envelope_state);
}

KERNEL_INLINE int32_t fixed_envelope_step(const kernel_env *env, real constants, real seconds) {
  return fixed_from_float((float)((real)1 - kernel_exp(-constants / (seconds * env->control_rate))));
}

void fixed_envelope_update_attack(fixed_envelope_state *s, const kernel_env *env, const fixed_envelope_params *p) {
  s->step[fixed_envelope_attack] = fixed_envelope_step(env, fixed_envelope_attack_constants, p->attack);
}

void fixed_envelope_update_decay(fixed_envelope_state *s, const kernel_env *env, const fixed_envelope_params *p) {
  s->sustain = fixed_scaled(p->sustain, 1);
  s->step[fixed_envelope_decay] = fixed_envelope_step(env, fixed_envelope_fall_constants, p->decay);
}

void fixed_envelope_update_release(fixed_envelope_state *s, const kernel_env *env, const fixed_envelope_params *p) {
  s->step[fixed_envelope_release] = fixed_envelope_step(env, fixed_envelope_fall_constants, p->release);
}

void fixed_envelope_start(fixed_envelope_state *s, const kernel_env *env, const fixed_envelope_params *p,
                          void *const buffers[]) {
  (void)buffers;
  s->level = 0;
  s->segment = fixed_envelope_idle;
  fixed_envelope_update_attack(s, env, p);
  fixed_envelope_update_decay(s, env, p);
  fixed_envelope_update_release(s, env, p);
}

// A gate that opens again takes up the level where it is, so that nothing clicks.
void fixed_envelope_event_gate(fixed_envelope_state *s, const kernel_env *env, const kernel_event *event,
                               const float *const in[]) {
  (void)env, (void)in;
  s->segment = event->value ? fixed_envelope_attack : fixed_envelope_release;
}

void fixed_envelope_tick(fixed_envelope_state *s, const kernel_env *env, const float *const in[], float *const out[]) {
  (void)env, (void)in;
  const uint32_t segment = s->segment;
  if (segment != fixed_envelope_idle) {
    const int32_t target = segment == fixed_envelope_attack  ? fixed_envelope_attack_target
                           : segment == fixed_envelope_decay ? s->sustain
                                                             : 0;
    int32_t level = s->level + fixed_long_product(target - s->level, s->step[segment]);
    if (segment == fixed_envelope_attack) {
      if (level >= fixed_envelope_top) {
        level = fixed_envelope_top;
        s->segment = fixed_envelope_decay;
      }
    } else if (segment == fixed_envelope_decay) {
      const int32_t off = level - target;
      if (off < fixed_envelope_near && off > -fixed_envelope_near)
        level = target; // and stays, or glides to where the sustain is moved
    } else if (level < fixed_envelope_near) {
      level = 0;
      s->segment = fixed_envelope_idle;
    }
    s->level = level;
  }
  *out[0] = fixed_unscaled(s->level, 1);
}

#ifdef KERNEL_STIMULI
// The gate has been open long enough for the level to be held, whatever the times: what an envelope does most, and what
// takes it longest.
#define KERNEL_WARM_UP 4000

// An envelope has no input but its gate.
void fixed_envelope_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  (void)costliest, (void)channel, (void)block;
  for (uint32_t i = 0; i < n; i++)
    x[i] = 0;
}
#endif
