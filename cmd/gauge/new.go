package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"elbowroom/catalog"
)

var blockName = regexp.MustCompile(`^[a-z][a-z0-9]*(-[a-z0-9]+)*$`)

// newBlock writes the beginnings of a block, named as FAMILY/BLOCK.
func newBlock(w io.Writer, root, name string) error {
	family, block, ok := strings.Cut(name, "/")
	if !ok || !slices.Contains(catalog.Families(), family) {
		return fmt.Errorf("write FAMILY/BLOCK, with one of the families %s", strings.Join(catalog.Families(), ", "))
	}
	if !blockName.MatchString(block) {
		return fmt.Errorf("'%s' is not a name: small letters and digits, with hyphens between", block)
	}
	c := strings.ReplaceAll(block, "-", "_")
	fill := strings.NewReplacer("{block}", block, "{family}", family, "{name}", c).Replace
	for _, f := range []struct{ path, text string }{
		{filepath.Join("catalog", "blocks", family, block+".yaml"), fill(entrySkeleton)},
		{filepath.Join("blocks", "kernels", block+".c"), fill(kernelSkeleton)},
	} {
		out, err := os.OpenFile(filepath.Join(root, f.path), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
		if err != nil {
			return fmt.Errorf("writing the beginnings of %s: %w", block, err)
		}
		_, err = out.WriteString(f.text)
		if closeErr := out.Close(); err == nil {
			err = closeErr
		}
		if err != nil {
			return err
		}
		fmt.Fprintf(w, "%s\n", f.path)
	}
	fmt.Fprintf(w, "next: fill both in, then go test ./catalog and gauge run %s\n", block)
	return nil
}

// The skeletons make a block that passes its input on, so that it can be
// checked and timed from the first minute.
const entrySkeleton = `block: {block}
family: {family}
role: {block}
title: {block}
about: >
  What it does. What a player hears when it is set badly.
equation: y[n] = x[n]
inputs:
  in: {kind: audio, channels: same}
outputs:
  out: {kind: audio, channels: same}
operations:
  call:
    int: 2
  sample:
    load: channels
    store: channels
    loop: 1
  source: counted
sources:
  counted: operations counted on the equation above
`

const kernelSkeleton = `// {block}: y[n] = x[n].
#include "kernel.h"

typedef kernel_nothing {name}_params;
typedef kernel_nothing {name}_state;

uint32_t {name}_state_bytes(const kernel_env *env, const {name}_params *p) {
  (void)env, (void)p;
  return 0;
}

void {name}_start({name}_state *s, const kernel_env *env, const {name}_params *p, void *const buffers[]) {
  (void)s, (void)env, (void)p, (void)buffers;
}

KERNEL_INLINE void {name}_run({name}_state *s, const kernel_env *env, const float *const in[], float *const out[],
                            uint32_t n) {
  (void)s;
  for (uint32_t c = 0; c < env->channels; c++)
    for (uint32_t i = 0; i < n; i++)
      out[c][i] = in[c][i];
}
KERNEL_BLOCK({name})

#ifdef KERNEL_STIMULI
void {name}_stimulus(int costliest, float *x, uint32_t n, uint32_t channel, uint32_t block) {
  uint32_t seed = kernel_seed(channel, block);
  for (uint32_t i = 0; i < n; i++)
    x[i] = kernel_noise(&seed) * (costliest ? 1e-38f : 1.0f);
}
#endif
`
