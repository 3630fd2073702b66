// Envelope of many stages: e[n] = b + c e[n-1], c = exp(-k / (time rate)), b = target (1 - c), once a control period, for
// as long as the stage lasts (any text on exponential segments). A stage comes within -60 dB of its level, so k = ln 1000;
// one that ends in silence makes for a little less and reaches it.
#include "kernel.h"
#include "unheard.h"

typedef struct {
  uint32_t stages, held;
} multi_stage_envelope_params;

typedef struct {
  float base, coefficient;
  uint32_t periods;
} multi_stage_envelope_stage;

// A player may turn the stages at any time, by multi_stage_envelope_set.
typedef struct {
  float level;
  uint32_t left; // periods of the stage
  uint8_t stage, stages, held, open;
  multi_stage_envelope_stage row[];
} multi_stage_envelope_state;

static const real multi_stage_envelope_constants = (real)6.90775527898; // ln 1000

// At this level, -100 dB, the output is silent. The level is kept there and is never 0, and what ends in silence makes for
// a tenth of it below 0, so that a period at rest takes as long as any other.
static const real multi_stage_envelope_near = 1e-5f;
static const real multi_stage_envelope_below = -1e-6f;

uint32_t multi_stage_envelope_state_bytes(const kernel_env *env, const multi_stage_envelope_params *p) {
  (void)env;
  return sizeof(multi_stage_envelope_state) + p->stages * sizeof(multi_stage_envelope_stage);
}

// Level from 0 to 1, time in seconds.
KERNEL_INLINE void multi_stage_envelope_set(multi_stage_envelope_stage *stage, const kernel_env *env, real level,
                                            real time) {
  const real periods = time * env->control_rate;
  // The base is made from the coefficient as it is kept, so that the rounding of the one does not move the target.
  stage->coefficient = (float)kernel_exp(-multi_stage_envelope_constants / periods);
  stage->base = (float)((level > 0 ? level : multi_stage_envelope_below) * ((real)1 - stage->coefficient));
  stage->periods = (uint32_t)(periods + 0.5f);
  if (stage->periods == 0)
    stage->periods = 1;
}

KERNEL_INLINE void multi_stage_envelope_enter(multi_stage_envelope_state *s, uint32_t stage) {
  s->stage = (uint8_t)stage;
  s->left = s->row[stage].periods;
}

// The row to begin with, house judgement: up and down by turns and silence at the end, each stage 50 ms longer than the
// one before it.
void multi_stage_envelope_start(multi_stage_envelope_state *s, const kernel_env *env,
                                const multi_stage_envelope_params *p, void *const buffers[]) {
  (void)buffers;
  s->level = (float)multi_stage_envelope_near;
  s->stages = (uint8_t)p->stages;
  s->held = (uint8_t)(p->held < p->stages ? p->held : p->stages);
  s->open = 0;
  for (uint32_t i = 0; i < p->stages; i++) {
    const real level = i + 1 == p->stages ? 0 : i & 1 ? 0.55f : 0.95f;
    multi_stage_envelope_set(&s->row[i], env, level, (real)(i + 1) * 0.05f);
  }
  multi_stage_envelope_enter(s, p->stages - 1);
}

// A gate that opens again takes up the level where it is, so that nothing clicks. One that closes goes on behind the stage
// that is held, and where nothing lies behind it the row runs to its end.
void multi_stage_envelope_event_gate(multi_stage_envelope_state *s, const kernel_env *env, const kernel_event *event,
                                     const float *const in[]) {
  (void)env, (void)in;
  s->open = (uint8_t)event->value;
  if (s->open)
    multi_stage_envelope_enter(s, 0);
  else if (s->stage < s->held && s->held < s->stages)
    multi_stage_envelope_enter(s, s->held);
}

void multi_stage_envelope_tick(multi_stage_envelope_state *s, const kernel_env *env, const float *const in[],
                               float *const out[]) {
  (void)env, (void)in;
  const multi_stage_envelope_stage *stage = &s->row[s->stage];
  real level = stage->base + stage->coefficient * (real)s->level;
  real heard = level;
  if (level <= multi_stage_envelope_near) {
    level = multi_stage_envelope_near;
    heard = 0;
  }
  s->level = (float)level;
  *out[0] = (float)heard;
  if (--s->left == 0) {
    // What is held, and the end of the row, begins again and keeps its level.
    const uint32_t next = s->stage + 1u;
    const int stays = next == s->stages || (next == s->held && s->open);
    multi_stage_envelope_enter(s, stays ? s->stage : next);
  }
}

UNHEARD_STIMULUS(multi_stage_envelope)
