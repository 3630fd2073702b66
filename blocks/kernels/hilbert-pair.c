// Hilbert pair: two chains of allpasses in z^-2, y[n] = a (x[n] + y[n-2]) - x[n-2], one of them a sample late, whose outputs
// keep a quarter of a turn apart from the lowest frequency up to as far below half the sample rate. The coefficients are
// those of an elliptic half-band filter turned by a quarter of the sample rate (R. Valenzuela and A. Constantinides, 1983),
// for a lowest frequency of 1/2400 of the sample rate, 20 Hz at 48 kHz.
#include "kernel.h"

#if defined(ALLPASSES_6)
enum { hilbert_pair_half = 3 };
#define HILBERT_PAIR_COSINE 0.261039344f, 0.873130406f, 0.986360517f
#define HILBERT_PAIR_SINE 0.656620412f, 0.957182288f, 0.996892793f
#elif defined(ALLPASSES_8)
enum { hilbert_pair_half = 4 };
#define HILBERT_PAIR_COSINE 0.165149094f, 0.739829013f, 0.947940906f, 0.991209713f
#define HILBERT_PAIR_SINE 0.486604369f, 0.880779435f, 0.977931256f, 0.997673862f
#elif defined(ALLPASSES_12)
enum { hilbert_pair_half = 6 };
#define HILBERT_PAIR_COSINE 0.081303770f, 0.498889283f, 0.808001524f, 0.936304278f, 0.980141114f, 0.994789262f
#define HILBERT_PAIR_SINE 0.278148285f, 0.681051964f, 0.888277601f, 0.964178999f, 0.989317019f, 0.998443500f
#else
#error "hilbert-pair: define ALLPASSES_6, ALLPASSES_8 or ALLPASSES_12"
#endif

static const float hilbert_pair_cosine[hilbert_pair_half] = {HILBERT_PAIR_COSINE};
static const float hilbert_pair_sine[hilbert_pair_half] = {HILBERT_PAIR_SINE};

typedef kernel_nothing hilbert_pair_params;

// What came by at one sample: the input, and every allpass's output.
typedef struct {
  float input, cosine[hilbert_pair_half], sine[hilbert_pair_half];
} hilbert_pair_moment;

// Even and odd samples have a moment each, since an allpass looks back by two: the older is what it needs and may then write
// over.
typedef struct {
  uint32_t turn;
  hilbert_pair_moment moment[][2];
} hilbert_pair_state;

uint32_t hilbert_pair_state_bytes(const kernel_env *env, const hilbert_pair_params *p) {
  (void)p;
  return sizeof(hilbert_pair_state) + 2 * env->channels * sizeof(hilbert_pair_moment);
}

void hilbert_pair_start(hilbert_pair_state *s, const kernel_env *env, const hilbert_pair_params *p, void *const buffers[]) {
  (void)p, (void)buffers;
  s->turn = 0;
  for (uint32_t c = 0; c < env->channels; c++)
    s->moment[c][0] = s->moment[c][1] = (hilbert_pair_moment){0};
}

// One chain: before is its input two samples ago, memory the outputs of then.
KERNEL_INLINE real hilbert_pair_chain(const float coefficient[], float memory[], real before, real x) {
  for (int k = 0; k < hilbert_pair_half; k++) {
    const real last = memory[k];
    x = coefficient[k] * (x + last) - before;
    memory[k] = (float)x;
    before = last;
  }
  return x;
}

KERNEL_INLINE void hilbert_pair_run(hilbert_pair_state *s, const kernel_env *env, const float *const in[],
                                    float *const out[], uint32_t n) {
  const uint32_t channels = env->channels;
  for (uint32_t c = 0; c < channels; c++) {
    const float *from = in[c];
    float *cosine = out[c], *sine = out[channels + c];
    uint32_t turn = s->turn;
    for (uint32_t i = 0; i < n; i++) {
      hilbert_pair_moment *now = &s->moment[c][turn];
      turn ^= 1;
      const real x = from[i], before = now->input;
      now->input = (float)x;
      cosine[i] = (float)hilbert_pair_chain(hilbert_pair_cosine, now->cosine, before, x);
      hilbert_pair_chain(hilbert_pair_sine, now->sine, before, x);
      sine[i] = s->moment[c][turn].sine[hilbert_pair_half - 1]; // a sample late
    }
  }
  s->turn ^= n & 1;
}
KERNEL_BLOCK(hilbert_pair)

#ifdef KERNEL_STIMULI
// The costliest samples are denormal.
void hilbert_pair_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-38f : 1.0f);
}
#endif
