package main

import (
	"regexp"
	"slices"
	"strings"

	"elbowroom/blocks"
)

// term is a candidate for a cycle term: as often as a formula tells, in a group.
type term struct {
	group   string // as in blocks.CycleTerm
	times   string
	formula *blocks.Formula
}

var (
	conditionOf = regexp.MustCompile(`if ([^{}]+) \{`)
	logarithmOf = regexp.MustCompile(`log2\(\w+\)`)
	ceilingOf   = regexp.MustCompile(`ceil\([^()]*\)`)
)

// surroundings are variables that a kernel does not loop over; how much the
// sample rate or a block's size matters is in the groups.
var surroundings = []string{"sample_rate", "block_size", "each"}

// loops are the factors that may stand in a kernel's terms: what it may loop
// over, and conditions that choose a path. They are read off the formulas of
// the catalog: the number of channels, the counts, and what the choices say
// that make no other kernel.
func (k *kernel) loops() (factors, conditions []string) {
	add := func(list *[]string, word string) {
		if !slices.Contains(*list, word) {
			*list = append(*list, word)
		}
	}
	if k.manyChannels() {
		add(&factors, "channels")
	}
	for _, i := range k.looped() {
		add(&factors, k.block.Params[i].Name)
	}
	for _, f := range k.block.Operations.Formulas() {
		for _, name := range f.Uses() {
			if _, isParam := k.block.Param(name); !isParam && !slices.Contains(surroundings, name) && !strings.HasSuffix(name, "_rate") {
				add(&factors, name)
			}
		}
		for _, m := range conditionOf.FindAllStringSubmatch(f.Text(), -1) {
			add(&conditions, "if "+m[1]+" { 1 } else { 0 }")
			add(&conditions, "if "+m[1]+" { 0 } else { 1 }")
		}
		for _, m := range logarithmOf.FindAllString(f.Text(), -1) {
			add(&factors, m)
		}
		for _, m := range ceilingOf.FindAllString(f.Text(), -1) {
			add(&factors, m)
		}
	}
	return factors, conditions
}

// looped are the parameters that are counts and that the operations depend on.
func (k *kernel) looped() []int {
	var list []int
	for i, p := range k.block.Params {
		if p.Categorical() || p.Unit != blocks.UnitCount {
			continue
		}
		if k.operates(p.Name) {
			list = append(list, i)
		}
	}
	return list
}

// operates tells whether the operations depend on a parameter.
func (k *kernel) operates(param string) bool {
	return slices.ContainsFunc(k.block.Operations.Formulas(), func(f *blocks.Formula) bool { return slices.Contains(f.Uses(), param) })
}

// products are the products of up to three factors, with and without a
// condition that is met or is not, that differ from point to point; 1 is first.
func (k *kernel) products(uses []*blocks.Use) ([]term, error) {
	factors, conditions := k.loops()
	varying := func(list []string) ([]string, error) {
		var some []string
		for _, text := range list {
			f, err := k.block.CompileTimes(text)
			if err != nil {
				return nil, err
			}
			values := map[float64]bool{}
			for _, u := range uses {
				v, err := u.Value(f)
				if err != nil {
					return nil, err
				}
				values[v] = true
			}
			if len(values) > 1 {
				some = append(some, text)
			}
		}
		return some, nil
	}
	factors, err := varying(factors)
	if err != nil {
		return nil, err
	}
	conditions, err = varying(conditions)
	if err != nil {
		return nil, err
	}
	texts := []string{"1"}
	for i, a := range factors {
		texts = append(texts, a)
		for j, b := range factors[i+1:] {
			texts = append(texts, a+" * "+b)
			for _, c := range factors[i+j+2:] {
				texts = append(texts, a+" * "+b+" * "+c)
			}
		}
	}
	plain := slices.Clone(texts)
	for _, c := range conditions {
		for _, t := range plain {
			if t == "1" {
				texts = append(texts, c)
			} else {
				texts = append(texts, "("+c+") * "+t)
			}
		}
	}
	var list []term
	for _, text := range texts {
		f, err := k.block.CompileTimes(text)
		if err != nil {
			return nil, err
		}
		list = append(list, term{times: text, formula: f})
	}
	return list, nil
}

// candidates are the terms that the points of a group may be made of, with the
// value of each at each use.
func (k *kernel) candidates(group string, oneSample bool, uses []*blocks.Use) ([]term, [][]float64, error) {
	products, err := k.products(uses)
	if err != nil {
		return nil, nil, err
	}
	var list []term
	values := make([][]float64, len(uses))
	add := func(group string, t term, scale func(u *blocks.Use) (float64, error)) error {
		t.group = group
		list = append(list, t)
		for i, u := range uses {
			v, err := u.Value(t.formula)
			if err != nil {
				return err
			}
			factor, err := scale(u)
			if err != nil {
				return err
			}
			values[i] = append(values[i], v*factor)
		}
		return nil
	}
	once := func(*blocks.Use) (float64, error) { return 1, nil }
	samples := func(u *blocks.Use) (float64, error) { return float64(u.BlockSize), nil }
	for _, t := range products {
		switch {
		case group != groupRun:
			err = add(group, t, once)
		case k.block.Processes() != blocks.Audio:
			err = add("call", t, once)
		case oneSample:
			err = add("sample", t, samples)
		default:
			if err = add("call", t, once); err == nil {
				err = add("sample", t, samples)
			}
		}
		if err != nil {
			return nil, nil, err
		}
	}
	if group != groupRun {
		return list, values, nil
	}
	for _, r := range k.block.Operations.Recurring {
		if r.Locked {
			continue // timed by itself
		}
		due := func(u *blocks.Use) (float64, error) {
			every, err := u.Value(r.Every)
			return float64(u.BlockSize) / every, err
		}
		if err := add("recurring."+r.Name, products[0], due); err != nil {
			return nil, nil, err
		}
	}
	return list, values, nil
}
