// Logic of two gates: y = f(a, b), sent where it changes; f is a row of four bits, and a + 2 b the bit that counts (any
// text on truth tables).
#include "kernel.h"
#include "unheard.h"

typedef struct {
  uint32_t operation; // and, xor, nand, or, nor, xnor
} logic_params;

typedef struct {
  uint32_t gates; // a in bit 0, b in bit 1
  uint32_t open;
  uint32_t truth;
  uint32_t moment; // of the latest event of the block
} logic_state;

uint32_t logic_state_bytes(const kernel_env *env, const logic_params *p) {
  (void)env, (void)p;
  return sizeof(logic_state);
}

// Both gates are closed to begin with; what follows from that is where the output starts, and no event.
void logic_start(logic_state *s, const kernel_env *env, const logic_params *p, void *const buffers[]) {
  (void)env, (void)buffers;
  static const uint8_t truths[] = {0x8, 0x6, 0x7, 0xe, 0x1, 0x9};
  s->truth = truths[p->operation];
  s->gates = 0;
  s->open = s->truth & 1u;
  s->moment = 0;
}

// All events of one input come before those of the other. Sent is what they come to in that order, none before another.
KERNEL_INLINE void logic_take(logic_state *s, const kernel_event *event, uint32_t gate, kernel_events *sent) {
  if (event->moment > s->moment)
    s->moment = event->moment;
  s->gates = (s->gates & ~(1u << gate)) | event->value << gate;
  const uint32_t open = s->truth >> s->gates & 1u;
  if (open != s->open) {
    s->open = open;
    kernel_send(sent, s->moment, open);
  }
}

void logic_event_a(logic_state *s, const kernel_env *env, const kernel_event *event, const float *const in[],
                   kernel_events *const sent[]) {
  (void)env, (void)in;
  logic_take(s, event, 0, sent[0]);
}

void logic_event_b(logic_state *s, const kernel_env *env, const kernel_event *event, const float *const in[],
                   kernel_events *const sent[]) {
  (void)env, (void)in;
  logic_take(s, event, 1, sent[0]);
}

void logic_tick(logic_state *s, const kernel_env *env, const float *const in[], float *const out[],
                kernel_events *const sent[]) {
  (void)env, (void)in, (void)out, (void)sent;
  s->moment = 0;
}

UNHEARD_STIMULUS(logic)
