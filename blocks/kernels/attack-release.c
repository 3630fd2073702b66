// Envelope with attack and release: e[n] = b + c e[n-1], c = exp(-k / (time rate)), b = target (1 - c), once a control
// period (any text on exponential segments). The attack makes for 1.2 and ends at 1, so k = ln 6; the 1.2 is house
// judgement. The release falls by 60 dB, so k = ln 1000.
#include "kernel.h"

#if !defined(MODE_AD) && !defined(MODE_AR)
#error "attack-release: define MODE_AD or MODE_AR"
#endif

typedef struct {
  float attack, release; // seconds
} attack_release_params;

enum { attack_release_rising, attack_release_falling, attack_release_segments };

typedef struct {
  float base, coefficient;
} attack_release_segment;

typedef struct {
  float level;
  uint32_t segment;
  attack_release_segment segments[attack_release_segments];
} attack_release_state;

static const real attack_release_target = 1.2f;
static const real attack_release_rise_constants = (real)1.79175946923; // ln 6
static const real attack_release_fall_constants = (real)6.90775527898; // ln 1000

// Lower than this, -100 dB, a fall is over: it would go on for ever, in denormals at last.
static const real attack_release_near = 1e-5f;

uint32_t attack_release_state_bytes(const kernel_env *env, const attack_release_params *p) {
  (void)env, (void)p;
  return sizeof(attack_release_state);
}

void attack_release_update_attack(attack_release_state *s, const kernel_env *env, const attack_release_params *p) {
  attack_release_segment *rise = &s->segments[attack_release_rising];
  // The base is made from the coefficient as it is kept, so that the rounding of the one does not move the target.
  rise->coefficient = (float)kernel_exp(-attack_release_rise_constants / ((real)p->attack * env->control_rate));
  rise->base = (float)(attack_release_target * ((real)1 - rise->coefficient));
}

void attack_release_update_release(attack_release_state *s, const kernel_env *env, const attack_release_params *p) {
  s->segments[attack_release_falling].coefficient =
      (float)kernel_exp(-attack_release_fall_constants / ((real)p->release * env->control_rate));
}

void attack_release_start(attack_release_state *s, const kernel_env *env, const attack_release_params *p,
                          void *const buffers[]) {
  (void)buffers;
  s->level = 0;
  s->segment = attack_release_falling;
  s->segments[attack_release_falling].base = 0;
  attack_release_update_attack(s, env, p);
  attack_release_update_release(s, env, p);
}

// A gate that opens again takes up the level where it is, so that nothing clicks.
void attack_release_event_gate(attack_release_state *s, const kernel_env *env, const kernel_event *event,
                               const float *const in[]) {
  (void)env, (void)in;
#ifdef MODE_AR
  s->segment = event->value ? attack_release_rising : attack_release_falling;
#else
  if (event->value)
    s->segment = attack_release_rising;
#endif
}

void attack_release_tick(attack_release_state *s, const kernel_env *env, const float *const in[], float *const out[]) {
  (void)env, (void)in;
  // At rest it goes on falling from 0 to 0, and at the top of a held sound rising from 1 to 1: no period is a costly one.
  const attack_release_segment *segment = &s->segments[s->segment];
  real level = segment->base + segment->coefficient * (real)s->level;
  if (s->segment == attack_release_rising) {
    if (level >= 1) {
      level = 1;
#ifdef MODE_AD
      s->segment = attack_release_falling;
#endif
    }
  } else if (level < attack_release_near) {
    level = 0;
  }
  s->level = (float)level;
  *out[0] = (float)level;
}

#ifdef KERNEL_STIMULI
// An envelope has no input but its gate.
void attack_release_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  (void)costliest, (void)channel, (void)block;
  for (uint32_t i = 0; i < n; i++)
    x[i] = 0;
}
#endif
