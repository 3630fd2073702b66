package main

import (
	"fmt"
	"slices"
	"strings"

	"elbowroom/blocks"
	"elbowroom/catalog"
)

// What is told of a block's kernels on a core, and what they were made with.
const (
	timedOn  = "compiled and timed on "
	madeWith = "made with"
)

// emulated adds what compiling and timing the block's kernels gave on a core:
// of the style that most code is written in, or of all.
func (s *Sheet) emulated(core string, b *blocks.Block, all bool) {
	e := catalog.Emulation(core, b.Name)
	if e == nil {
		return
	}
	section := timedOn + core
	var tools []string
	for _, name := range sortedKeys(e.Tools) {
		tools = append(tools, name+" "+e.Tools[name])
	}
	with := strings.Join(tools, ", ")
	same := slices.IndexFunc(s.Facts, func(f Fact) bool { return f.Name == madeWith && f.Value == with })
	if same >= 0 {
		with = "the same as on " + strings.TrimPrefix(s.Facts[same].Section, timedOn)
	}
	s.fact(nil, section, madeWith, "", with)
	for i := range e.Variants {
		v := &e.Variants[i]
		for k := range v.Styles {
			style := &v.Styles[k]
			if customary := style.Optimise == "O2" && !style.OneSample && style.Maths == "library" && style.Precision == "single"; customary || all {
				s.timed(section, v, style)
			}
		}
	}
}

// timed adds one kernel as it was timed.
func (s *Sheet) timed(section string, v *blocks.EmulatedVariant, style *blocks.EmulatedStyle) {
	var words []string
	for _, param := range sortedKeys(v.Choices) {
		words = append(words, v.Choices[param])
	}
	if v.Moved != "" {
		words = append(words, v.Moved+" moved by audio")
	}
	words = append(words, "-"+style.Optimise)
	if style.OneSample {
		words = append(words, "a sample a call")
	}
	if style.Maths != "library" {
		words = append(words, style.Maths+" maths")
	}
	if style.Precision != "single" {
		words = append(words, style.Precision+" precision")
	}
	name := strings.Join(words, ", ")
	s.terms(section, name, style.Terms, "", func(t blocks.CycleTerm) float64 { return t.Cycles })
	if slices.ContainsFunc(style.Terms, func(t blocks.CycleTerm) bool { return t.Costliest != t.Cycles }) {
		s.terms(section, name, style.Terms, " at the costliest", func(t blocks.CycleTerm) float64 { return t.Costliest })
	}
	bytes := style.Constants
	for _, list := range []map[string]blocks.Bytes{style.Functions, style.Updates} {
		for _, b := range list {
			bytes += b
		}
	}
	var library blocks.Bytes
	for _, b := range style.Symbols {
		library += b
	}
	s.fact(nil, section, name, "code", bytes.String())
	if library > 0 {
		s.fact(nil, section, name, "library", library.String())
	}
	s.fact(nil, section, name, "stack", style.Stack.String())
	s.fact(nil, section, name, "residuals", residuals(style.Fits))
}

// terms adds the cycles of a kernel, the terms of a group as one sum.
func (s *Sheet) terms(section, name string, terms []blocks.CycleTerm, data string, cycles func(blocks.CycleTerm) float64) {
	var groups []string
	sums := map[string][]string{}
	for _, t := range terms {
		if sums[t.Group] == nil {
			groups = append(groups, t.Group)
		}
		text := number(cycles(t))
		switch {
		case strings.HasPrefix(t.Times, "if"):
			text += " x (" + t.Times + ")"
		case t.Times != "1":
			text += " x " + t.Times
		}
		sums[t.Group] = append(sums[t.Group], text)
	}
	for _, group := range groups {
		s.fact(nil, section, name, strings.Replace(group, ".", " ", 1)+data, strings.Join(sums[group], " + ")+" cycles")
	}
}

// residuals tells how far the terms are from the points that were timed: from
// those kept out of the fit, where there are some.
func residuals(fits []blocks.Fit) string {
	median, worst, points, kept := 0.0, 0.0, 0, false
	for _, f := range fits {
		switch {
		case f.HeldOut > 0:
			if !kept {
				median, worst, points, kept = 0, 0, 0, true
			}
			median, worst, points = max(median, f.HeldOutMedian), max(worst, f.HeldOutWorst), points+f.HeldOut
		case !kept:
			median, worst, points = max(median, f.Median), max(worst, f.Worst), points+f.Points
		}
	}
	text := fmt.Sprintf("%.2f %% in the median and %.2f %% at most, on %s", 100*median, 100*worst, counted(points, "point"))
	if kept {
		text += " kept out of the fit"
	}
	return text
}
