// Envelope with attack and release: e[n] = b + c e[n-1], c = exp(-k / (time rate)), b = target (1 - c), once a control
// period (any text on exponential segments). The attack makes for 1.2 and ends at 1, so k = ln 6; the 1.2 is house
// judgement. The release falls by 60 dB, so k = ln 1000; it makes for a little less than silence and ends there.
#include "kernel.h"
#include "unheard.h"

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

// At this level, -100 dB, the output is silent. The level is kept there and is never 0, and the fall makes for a tenth of
// it below 0, so that it comes to its end and a period at rest takes as long as any other.
static const real attack_release_near = 1e-5f;
static const real attack_release_below = -1e-6f;

uint32_t attack_release_state_bytes(const kernel_env *env, const attack_release_params *p) {
  (void)env, (void)p;
  return sizeof(attack_release_state);
}

KERNEL_INLINE void attack_release_set(attack_release_segment *segment, const kernel_env *env, real constants,
                                      real seconds, real target) {
  // The base is made from the coefficient as it is kept, so that the rounding of the one does not move the target.
  segment->coefficient = (float)kernel_exp(-constants / (seconds * env->control_rate));
  segment->base = (float)(target * ((real)1 - segment->coefficient));
}

void attack_release_update_attack(attack_release_state *s, const kernel_env *env, const attack_release_params *p) {
  attack_release_set(&s->segments[attack_release_rising], env, attack_release_rise_constants, p->attack,
                     attack_release_target);
}

void attack_release_update_release(attack_release_state *s, const kernel_env *env, const attack_release_params *p) {
  attack_release_set(&s->segments[attack_release_falling], env, attack_release_fall_constants, p->release,
                     attack_release_below);
}

void attack_release_start(attack_release_state *s, const kernel_env *env, const attack_release_params *p,
                          void *const buffers[]) {
  (void)buffers;
  s->level = (float)attack_release_near;
  s->segment = attack_release_falling;
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
  // At rest it goes on falling, and at the top of a held sound rising from 1 to 1: no period is a costly one.
  const attack_release_segment *segment = &s->segments[s->segment];
  real level = segment->base + segment->coefficient * (real)s->level;
  if (level >= 1) {
    level = 1;
#ifdef MODE_AD
    s->segment = attack_release_falling;
#endif
  }
  real heard = level;
  if (level <= attack_release_near) {
    level = attack_release_near;
    heard = 0;
  }
  s->level = (float)level;
  *out[0] = (float)heard;
}

#ifdef KERNEL_STIMULI
// The gate has been open long enough, whatever the times, for a held sound to be at its top and a struck one at rest.
#define KERNEL_WARM_UP 4000
#endif

UNHEARD_STIMULUS(attack_release)
