// Conventions that every reference kernel shares. A kernel is one C file of
// plain C11 that includes this header; DEVELOPERS.md tells what it defines.
//
// Memory is single precision whatever happens: state, parameters and signals
// are float, so that a word of the catalog is a word here. Arithmetic is done
// in real, which -DPRECISION_DOUBLE makes double, as in code in which a
// constant without its f has slipped in.
#ifndef KERNEL_H
#define KERNEL_H

#include <math.h>
#include <stddef.h>
#include <stdint.h>

#ifdef PRECISION_DOUBLE
typedef double real;
#else
typedef float real;
#endif

static const real kernel_pi = (real)3.14159265358979323846;

// Surroundings of a kernel. Every node of a graph with as many channels shares
// one.
typedef struct {
  float sample_rate;  // hertz
  float control_rate; // control periods a second, in hertz
  uint32_t block_size; // samples
  uint32_t channels;
} kernel_env;

// One event: its sample within the block, and what it brings. A gate brings 1
// where it opens and 0 where it closes; a clock, a trigger or a reset brings 1.
typedef struct {
  uint32_t moment;
  uint32_t value;
} kernel_event;

// The events that one output sends in one block, with room for enough of them.
typedef struct {
  uint32_t count;
  kernel_event *event;
} kernel_events;

static inline void kernel_send(kernel_events *sent, uint32_t moment, uint32_t value) {
  kernel_event *next = &sent->event[sent->count++];
  next->moment = moment;
  next->value = value;
}

// For blocks without numeric parameters, and for blocks without state, whose
// B_state_bytes is 0: C has no empty struct.
typedef struct {
  uint32_t none;
} kernel_nothing;

// KERNEL_BLOCK defines the entry of an audio kernel around B_run, an inline
// function that processes n samples: B_block takes a whole block, and in its
// place -DONE_SAMPLE gives B_sample, which takes one sample a call.
#define KERNEL_INLINE static inline __attribute__((always_inline))
#ifdef ONE_SAMPLE
#define KERNEL_BLOCK(name)                                                                                             \
  void name##_sample(name##_state *s, const kernel_env *env, const float *const in[], float *const out[]) {            \
    name##_run(s, env, in, out, 1);                                                                                    \
  }
#else
#define KERNEL_BLOCK(name)                                                                                             \
  void name##_block(name##_state *s, const kernel_env *env, const float *const in[], float *const out[]) {             \
    name##_run(s, env, in, out, env->block_size);                                                                      \
  }
#endif

// Samples in a delay line. A kernel with a parameter `format` keeps them as
// kernel_sample and converts with kernel_from_sample and kernel_to_sample.
// Sixteen bits are rounded to the nearest step and held at full scale.
#ifdef FORMAT_INT16
typedef int16_t kernel_sample;

static inline real kernel_from_sample(kernel_sample x) {
  return (real)x * (real)(1.0 / 32768.0);
}

static inline kernel_sample kernel_to_sample(real x) {
  // Raised to 0..65535 the conversion's cut becomes a rounding.
  int32_t raised = (int32_t)(x * (real)32768.0 + (real)32768.5);
#ifdef __ARM_FEATURE_SAT
  uint32_t held;
  __asm__("usat %0, #16, %1" : "=r"(held) : "r"(raised));
  return (kernel_sample)((int32_t)held - 32768);
#else
  raised = raised < 0 ? 0 : raised > 65535 ? 65535 : raised;
  return (kernel_sample)(raised - 32768);
#endif
}
#else
typedef float kernel_sample;

static inline real kernel_from_sample(kernel_sample x) {
  return (real)x;
}

static inline kernel_sample kernel_to_sample(real x) {
  return (kernel_sample)x;
}
#endif

// The bits of a float, and back.
static inline uint32_t kernel_bits(float x) {
  union {
    float value;
    uint32_t bits;
  } both = {.value = x};
  return both.bits;
}

static inline float kernel_float(uint32_t bits) {
  union {
    uint32_t bits;
    float value;
  } both = {.bits = bits};
  return both.value;
}

// Library functions in the precision of the arithmetic.
#ifdef PRECISION_DOUBLE
#define KERNEL_LIBRARY(function) function
#else
#define KERNEL_LIBRARY(function) function##f
#endif

static inline real kernel_sqrt(real x) {
  return KERNEL_LIBRARY(sqrt)(x);
}

static inline real kernel_abs(real x) {
  return KERNEL_LIBRARY(fabs)(x);
}

#ifndef MATHS_APPROXIMATE

static inline real kernel_floor(real x) {
  return KERNEL_LIBRARY(floor)(x);
}
static inline real kernel_fmod(real x, real y) {
  return KERNEL_LIBRARY(fmod)(x, y);
}
static inline real kernel_sin(real x) {
  return KERNEL_LIBRARY(sin)(x);
}
static inline real kernel_cos(real x) {
  return KERNEL_LIBRARY(cos)(x);
}
static inline real kernel_tan(real x) {
  return KERNEL_LIBRARY(tan)(x);
}
static inline real kernel_tanh(real x) {
  return KERNEL_LIBRARY(tanh)(x);
}
static inline real kernel_exp(real x) {
  return KERNEL_LIBRARY(exp)(x);
}
static inline real kernel_exp2(real x) {
  return KERNEL_LIBRARY(exp2)(x);
}
static inline real kernel_log(real x) {
  return KERNEL_LIBRARY(log)(x);
}
static inline real kernel_log2(real x) {
  return KERNEL_LIBRARY(log2)(x);
}
static inline real kernel_pow(real x, real y) {
  return KERNEL_LIBRARY(pow)(x, y);
}
static inline real kernel_atan2(real y, real x) {
  return KERNEL_LIBRARY(atan2)(y, x);
}

#else

// Short forms. Coefficients are minimax fits of our own, by Remez exchange; the
// greatest error stands with each. Arguments must be finite and, before they
// are split into whole and rest, within +-2^30.

static inline real kernel_floor(real x) {
  int32_t whole = (int32_t)x;
  return (real)(whole - (x < (real)whole));
}

static inline real kernel_fmod(real x, real y) {
  return x - y * (real)(int32_t)(x / y);
}

// Odd polynomial of degree 7 on a quarter turn, greatest error 5.9e-7.
static inline real kernel_sin(real x) {
  real half_turns = x / kernel_pi;
  int32_t nearest = (int32_t)(half_turns + (half_turns < 0 ? (real)-0.5 : (real)0.5));
  real r = x - (real)nearest * kernel_pi;
  real q = r * r;
  real y = r * ((real)0.99999661591 +
                q * ((real)-0.16664828382 + q * ((real)0.00830632523 + q * (real)-0.00018363654)));
  return nearest & 1 ? -y : y;
}

static inline real kernel_cos(real x) {
  return kernel_sin(x + kernel_pi / 2);
}

static inline real kernel_tan(real x) {
  return kernel_sin(x) / kernel_cos(x);
}

// Rational form of degrees 7 and 6, from the continued fraction of tanh, held
// at +-4.97 where it reaches 1; greatest error 1e-4.
static inline real kernel_tanh(real x) {
  x = x < (real)-4.97 ? (real)-4.97 : x > (real)4.97 ? (real)4.97 : x;
  real q = x * x;
  return x * ((real)135135 + q * ((real)17325 + q * ((real)378 + q))) /
         ((real)135135 + q * ((real)62370 + q * ((real)3150 + q * (real)28)));
}

// Degree 5 on half an octave to either side, greatest relative error 1.1e-7 of
// the form; the exponent is set in the bits of a float. Held at 2^+-126.
static inline real kernel_exp2(real x) {
  x = x < (real)-126 ? (real)-126 : x > (real)126 ? (real)126 : x;
  int32_t nearest = (int32_t)(x + (x < 0 ? (real)-0.5 : (real)0.5));
  real r = x - (real)nearest;
  real y = (real)1.00000007549 +
           r * ((real)0.69314722541 +
                r * ((real)0.24022107374 +
                     r * ((real)0.05550297298 + r * ((real)0.00967603636 + r * (real)0.00134100053))));
  return y * (real)kernel_float((uint32_t)(nearest + 127) << 23);
}

static inline real kernel_exp(real x) {
  return kernel_exp2(x * (real)1.44269504089);
}

// Degree 5 on an octave around 1, greatest error 2.9e-5. For x > 0 that is no
// denormal.
static inline real kernel_log2(real x) {
  uint32_t bits = kernel_bits((float)x) - 0x3f3504f3u; // from 1 over the square root of 2
  int32_t octave = (int32_t)bits >> 23;
  real m = (real)kernel_float((bits & 0x007fffffu) + 0x3f3504f3u) - (real)1;
  return (real)octave +
         m * ((real)1.44226364057 +
              m * ((real)-0.72115948698 +
                   m * ((real)0.49662556113 + m * ((real)-0.38115378992 + m * (real)0.18236970861))));
}

static inline real kernel_log(real x) {
  return kernel_log2(x) * (real)0.69314718056;
}

static inline real kernel_pow(real x, real y) {
  return kernel_exp2(y * kernel_log2(x));
}

// Odd polynomial of degree 9 on an eighth of a turn, greatest error 1.2e-5.
static inline real kernel_atan2(real y, real x) {
  real wide = kernel_abs(x), high = kernel_abs(y);
  real t = wide > high ? high / wide : wide / high;
  real q = t * t;
  real a = t * ((real)0.99986632951 +
                q * ((real)-0.33030478608 + q * ((real)0.18015929649 + q * ((real)-0.08515635306 + q * (real)0.02084511507))));
  a = wide > high ? a : kernel_pi / 2 - a;
  a = x < 0 ? kernel_pi - a : a;
  return y < 0 ? -a : a;
}

#endif

#ifdef KERNEL_STIMULI
// The channel that B_stimulus is asked for where it is to fill the parameter
// that audio moves.
#define KERNEL_MOVED 255u

// White noise from -1 to 1 by a 32-bit xorshift generator with the shifts 13,
// 17, 5 (G. Marsaglia, Journal of Statistical Software 8(14), 2003). The seed
// must not be 0.
static inline float kernel_noise(uint32_t *seed) {
  uint32_t x = *seed;
  x ^= x << 13;
  x ^= x >> 17;
  x ^= x << 5;
  *seed = x;
  return (float)(int32_t)x * (1.0f / 2147483648.0f);
}

// A seed that differs from channel to channel and from block to block.
static inline uint32_t kernel_seed(uint32_t channel, uint32_t block) {
  return 0x9e3779b9u * (block * 16u + channel + 1u) | 1u;
}

// n values in even steps from the first to just before the last.
static inline void kernel_ramp(float *x, uint32_t n, float first, float last) {
  for (uint32_t i = 0; i < n; i++)
    x[i] = first + (last - first) * (float)i / (float)n;
}
#endif

#endif
