// Blown pipe: a reed on a cylinder that is closed by the reed and open at the far end (M.E. McIntyre, R.T. Schumacher and J.
// Woodhouse, On the Oscillations of Musical Instruments, JASA 74(5), 1983), as a loop of half a period (J.O. Smith, Efficient
// Simulation of the Reed-Bore and Bow-String Mechanisms, ICMC 1986):
//   w[n] = p + d r(d), d = b - p, r(d) = 0.7 - 0.3 d held from -1 to 1, b = -0.95 ((1 - s) u[n] + s u[n-1]),
// w what goes into the pipe, b what comes back, p the breath, r what a reed reflects that a pressure from without closes, u
// the line through a first-order allpass that takes up the fraction of a sample.
#include "kernel.h"
#include "unheard.h"

#if !defined(FORMAT_FLOAT32) && !defined(FORMAT_INT16)
#error "blown-pipe: define FORMAT_FLOAT32 or FORMAT_INT16"
#endif

static const real blown_pipe_reflection = (real)0.95; // of the open end
static const real blown_pipe_rest = (real)0.7, blown_pipe_stiffness = (real)0.3; // of the reed
static const real blown_pipe_glide = (real)0.005; // seconds in which the breath follows

typedef struct {
  float pitch, lowest; // hertz
  float breath;
  float hiss;    // share of noise in the breath
  float damping; // share of the older point
} blown_pipe_params;

typedef struct {
  kernel_sample *line;
  uint32_t length; // samples of the line
  uint32_t index;  // that is written next
  uint32_t period; // samples from there back to the one that is read
  uint32_t seed;
  float allpass;      // coefficient
  float newer, older; // shares of the two points, reflected
  float input, point; // of the allpass a sample ago, and what came out
  float breath, level, follow; // asked for, reached, and the share of the way in a sample
  float hiss;                  // a step of the noise
} blown_pipe_state;

uint32_t blown_pipe_state_bytes(const kernel_env *env, const blown_pipe_params *p) {
  (void)env, (void)p;
  return sizeof(blown_pipe_state);
}

// Half a period that is over a whole number of samples by less than two roundings of a float is whole.
static uint32_t blown_pipe_length(const kernel_env *env, const blown_pipe_params *p) {
  const float exact = env->sample_rate / (2 * p->lowest);
  const uint32_t samples = (uint32_t)exact;
  return exact - (float)samples > exact * 2.5e-7f ? samples + 1 : samples;
}

uint32_t blown_pipe_buffer_bytes(const kernel_env *env, const blown_pipe_params *p, uint32_t buffer) {
  (void)buffer;
  return blown_pipe_length(env, p) * sizeof(kernel_sample);
}

// The average delays by s of a sample and the allpass by 0.1 to 1.1, where it is steady; the line does the rest. A pitch
// below the lowest or above an eighth of the sample rate is held there.
void blown_pipe_update_pipe(blown_pipe_state *s, const kernel_env *env, const blown_pipe_params *p) {
  const real highest = (real)0.125 * env->sample_rate;
  real pitch = p->pitch > p->lowest ? p->pitch : p->lowest;
  pitch = pitch < highest ? pitch : highest;
  const real rest = (real)0.5 * env->sample_rate / pitch - p->damping - (real)0.1;
  s->period = (uint32_t)rest;
  const real fraction = rest - (real)s->period + (real)0.1;
  s->allpass = (float)((1 - fraction) / (1 + fraction));
  s->older = (float)(-blown_pipe_reflection * p->damping);
  s->newer = (float)(-blown_pipe_reflection * (1 - (real)p->damping));
}

void blown_pipe_update_breath(blown_pipe_state *s, const kernel_env *env, const blown_pipe_params *p) {
  (void)env;
  s->breath = p->breath;
  s->hiss = (float)((real)p->hiss * (real)(1.0 / 2147483648.0));
}

void blown_pipe_start(blown_pipe_state *s, const kernel_env *env, const blown_pipe_params *p, void *const buffers[]) {
  *s = (blown_pipe_state){
      .line = buffers[0],
      .length = blown_pipe_length(env, p),
      .follow = (float)(1 - kernel_exp(-1 / (blown_pipe_glide * env->sample_rate))),
  };
  for (uint32_t i = 0; i < s->length; i++)
    s->line[i] = 0;
  blown_pipe_update_pipe(s, env, p);
  blown_pipe_update_breath(s, env, p);
}

KERNEL_INLINE void blown_pipe_run(blown_pipe_state *s, const kernel_env *env, const float *const in[],
                                  float *const out[], uint32_t n) {
  (void)env, (void)in;
  float *y = out[0];
  kernel_sample *line = s->line;
  const uint32_t length = s->length, period = s->period;
  const real allpass = s->allpass, newer = s->newer, older = s->older;
  const real breath = s->breath, follow = s->follow, hiss = s->hiss;
  uint32_t index = s->index, seed = s->seed;
  float input = s->input, point = s->point, level = s->level;
  for (uint32_t i = 0; i < n; i++) {
    const uint32_t at = index >= period ? index - period : index + length - period;
    const float read = (float)kernel_from_sample(line[at]);
    const float tuned = (float)(allpass * ((real)read - point) + input);
    const real back = newer * tuned + older * point;
    input = read;
    point = tuned;
    level = (float)(level + follow * (breath - level));
    seed = 1664525u * seed + 1013904223u; // D. Knuth, The Art of Computer Programming 2
    const real blown = level + level * (hiss * (real)(int32_t)seed);
    const real difference = back - blown;
    real reed = blown_pipe_rest - blown_pipe_stiffness * difference;
    reed = reed > 1 ? 1 : reed < -1 ? -1 : reed;
    const real w = blown + difference * reed;
    line[index] = kernel_to_sample(w);
    y[i] = (float)w;
    if (++index == length)
      index = 0;
  }
  s->index = index;
  s->seed = seed;
  s->input = input;
  s->point = point;
  s->level = level;
}
KERNEL_BLOCK(blown_pipe)

UNHEARD_STIMULUS(blown_pipe)
