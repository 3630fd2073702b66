package main

import (
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"elbowroom/blocks"
)

// shortForms are the functions with a short form: over which arguments kernels
// call them, and whether their error counts against the value itself.
var shortForms = []struct {
	class      blocks.Class
	call, true string // of x, in single and in double precision
	low, high  float64
	relative   bool
}{
	{blocks.OpSin, "kernel_sin(x)", "sin(x)", -12, 12, false},
	{blocks.OpCos, "kernel_cos(x)", "cos(x)", -12, 12, false},
	{blocks.OpTan, "kernel_tan(x)", "tan(x)", 0, 0.45 * math.Pi, false},
	{blocks.OpTanh, "kernel_tanh(x)", "tanh(x)", -8, 8, false},
	{blocks.OpExp, "kernel_exp(x)", "exp(x)", -8, 2, true},
	{blocks.OpExp2, "kernel_exp2(x)", "exp2(x)", -10, 4, true},
	{blocks.OpLog, "kernel_log(x)", "log(x)", 0.01, 4, false},
	{blocks.OpLog2, "kernel_log2(x)", "log2(x)", 0.01, 4, false},
	{blocks.OpPow, "kernel_pow(x, (real)1.1)", "pow(x, (double)(real)1.1)", 0.1, 2, true},
	{blocks.OpAtan2, "kernel_atan2(x, (real)0.7)", "atan2(x, (double)(real)0.7)", -5, 5, false},
}

// The errors that the loss of short forms is computed from are those that the
// functions of kernel.h have against the C library's in double precision, looked
// for at 200,000 arguments each.
func TestShortFormErrors(t *testing.T) {
	needTools(t, "cc")
	var text strings.Builder
	text.WriteString("#include <math.h>\n#include <stdio.h>\n#include \"kernel.h\"\nint main(void) {\n")
	for _, f := range shortForms {
		fmt.Fprintf(&text, "  { double worst = 0;\n    for (int i = 0; i <= 200000; i++) {\n      const real x = (real)(%v + (%v - %v) * i / 200000);\n", f.low, f.high, f.low)
		fmt.Fprintf(&text, "      double e = fabs((double)%s - %s);\n", f.call, strings.ReplaceAll(f.true, "(x", "((double)x"))
		if f.relative {
			fmt.Fprintf(&text, "      e /= fabs(%s);\n", strings.ReplaceAll(f.true, "(x", "((double)x"))
		}
		text.WriteString("      if (e > worst) worst = e;\n    }\n    printf(\"%.9g\\n\", worst);\n  }\n")
	}
	text.WriteString("  return 0;\n}\n")
	folder := t.TempDir()
	source, program := filepath.Join(folder, "errors.c"), filepath.Join(folder, "errors")
	if err := os.WriteFile(source, []byte(text.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("cc", "-std=c11", "-O1", "-DMATHS_APPROXIMATE", "-I"+kernelFolder, source, "-o", program, "-lm").CombinedOutput(); err != nil {
		t.Fatalf("The functions do not compile for the host:\n%s\n%s", out, &text)
	}
	out, err := exec.Command(program).Output()
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Fields(string(out))
	if len(lines) != len(shortForms) {
		t.Fatalf("The program printed %d errors for %d functions.", len(lines), len(shortForms))
	}
	for i, f := range shortForms {
		var worst float64
		if _, err := fmt.Sscan(lines[i], &worst); err != nil {
			t.Fatal(err)
		}
		got := 20 * math.Log10(worst)
		want, has := blocks.ShortFormError(f.class)
		t.Logf("%v: %.3g, %.1f dB", f.class, worst, got)
		if !has || math.Abs(got-want) > 1 {
			t.Errorf("The short form of %v is wrong by %.1f dB at most, and its loss is computed from %.1f dB.", f.class, got, want)
		}
	}
}
