// Envelope with attack, decay, sustain and release: e[n] = b + c e[n-1], c = exp(-k / (time rate)), b = target (1 - c),
// once a control period (any text on exponential segments). The attack makes for 1.2 and ends at 1, so k = ln 6; the 1.2
// is house judgement. Decay and release come within -60 dB of their targets, so k = ln 1000.
#include "kernel.h"

typedef struct {
  float attack, decay; // seconds
  float sustain;
  float release; // seconds
} adsr_params;

enum { adsr_attack, adsr_decay, adsr_release, adsr_segments, adsr_idle = adsr_segments };

typedef struct {
  float base, coefficient;
} adsr_segment;

typedef struct {
  float level;
  uint32_t segment;
  float sustain;
  adsr_segment segments[adsr_segments];
} adsr_state;

static const real adsr_attack_target = 1.2f;
static const real adsr_attack_constants = (real)1.79175946923; // ln 6
static const real adsr_fall_constants = (real)6.90775527898;   // ln 1000

// Nearer to its target than this, -100 dB, a fall is over: it would go on for ever, in denormals at last.
static const real adsr_near = 1e-5f;

uint32_t adsr_state_bytes(const kernel_env *env, const adsr_params *p) {
  (void)env, (void)p;
  return sizeof(adsr_state);
}

KERNEL_INLINE void adsr_set(adsr_segment *segment, const kernel_env *env, real constants, real seconds, real target) {
  // The base is made from the coefficient as it is kept, so that the rounding of the one does not move the target.
  segment->coefficient = (float)kernel_exp(-constants / (seconds * env->control_rate));
  segment->base = (float)(target * ((real)1 - segment->coefficient));
}

void adsr_update_attack(adsr_state *s, const kernel_env *env, const adsr_params *p) {
  adsr_set(&s->segments[adsr_attack], env, adsr_attack_constants, p->attack, adsr_attack_target);
}

void adsr_update_decay(adsr_state *s, const kernel_env *env, const adsr_params *p) {
  s->sustain = p->sustain;
  adsr_set(&s->segments[adsr_decay], env, adsr_fall_constants, p->decay, p->sustain);
}

void adsr_update_release(adsr_state *s, const kernel_env *env, const adsr_params *p) {
  adsr_set(&s->segments[adsr_release], env, adsr_fall_constants, p->release, 0);
}

void adsr_start(adsr_state *s, const kernel_env *env, const adsr_params *p, void *const buffers[]) {
  (void)buffers;
  s->level = 0;
  s->segment = adsr_idle;
  adsr_update_attack(s, env, p);
  adsr_update_decay(s, env, p);
  adsr_update_release(s, env, p);
}

// A gate that opens again takes up the level where it is, so that nothing clicks.
void adsr_event_gate(adsr_state *s, const kernel_env *env, const kernel_event *event, const float *const in[]) {
  (void)env, (void)in;
  s->segment = event->value ? adsr_attack : adsr_release;
}

void adsr_tick(adsr_state *s, const kernel_env *env, const float *const in[], float *const out[]) {
  (void)env, (void)in;
  const uint32_t segment = s->segment;
  if (segment != adsr_idle) {
    real level = s->segments[segment].base + s->segments[segment].coefficient * (real)s->level;
    if (segment == adsr_attack) {
      if (level >= 1) {
        level = 1;
        s->segment = adsr_decay;
      }
    } else if (segment == adsr_decay) {
      if (kernel_abs(level - s->sustain) < adsr_near)
        level = s->sustain; // and stays, or glides to where the sustain is moved
    } else if (level < adsr_near) {
      level = 0;
      s->segment = adsr_idle;
    }
    s->level = (float)level;
  }
  *out[0] = s->level;
}

#ifdef KERNEL_STIMULI
// The gate has been open long enough for the level to be held, whatever the times: what an envelope does most, and what
// takes it longest.
#define KERNEL_WARM_UP 4000

// An envelope has no input but its gate.
void adsr_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  (void)costliest, (void)channel, (void)block;
  for (uint32_t i = 0; i < n; i++)
    x[i] = 0;
}
#endif
