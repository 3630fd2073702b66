package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/google/renameio/v2/maybe"

	"elbowroom/blocks"
)

// digest is of all that a block's figures on a core depend on: kernel, header
// and flags, the program that runs it through its points, what the cycle terms
// may be made of, the timing rules by their number, and the versions of the
// tools. Of the catalog's entry it holds what reaches any of these, so that its
// words may change.
func (p *project) digest(k *kernel, c *core, tools map[string]string) (string, error) {
	header, err := os.ReadFile(filepath.Join(p.kernels(), "kernel.h"))
	if err != nil {
		return "", err
	}
	h := sha256.New()
	add := func(parts ...string) {
		for _, part := range parts {
			fmt.Fprintf(h, "%d %s", len(part), part)
		}
	}
	add(k.text, string(header), c.name, strings.Join(c.flags, " "), c.machine, strings.Join(kernelFlags, " "), rules)
	factors, conditions := k.loops()
	add(factors...)
	add(conditions...)
	for _, r := range k.block.Operations.Recurring {
		add(r.Name, r.Every.Text())
	}
	for _, v := range k.variants() {
		b := newBench(k, v, c)
		add(v.moved, b.source())
		for _, points := range b.points {
			for i := range points {
				add(points[i].group, fmt.Sprint(points[i].heldOut))
			}
		}
	}
	for _, name := range sorted(tools) {
		add(name, tools[name])
	}
	return hex.EncodeToString(h.Sum(nil)[:16]), nil
}

// rules numbers the way in which kernels are timed and fitted. Raise it
// whenever the same kernels and tools would give other figures.
const rules = "3"

// encode writes a result so that the same figures always give the same bytes.
func encode(e *blocks.Emulation) ([]byte, error) {
	var b bytes.Buffer
	j := json.NewEncoder(&b)
	j.SetIndent("", " ")
	j.SetEscapeHTML(false)
	if err := j.Encode(e); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

// file is where a result is kept.
func file(folder, core, block string) string {
	return filepath.Join(folder, core, block+".json")
}

// save writes a result whole or not at all.
func save(folder string, e *blocks.Emulation) error {
	text, err := encode(e)
	if err != nil {
		return err
	}
	name := file(folder, e.Core, e.Block)
	if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
		return err
	}
	return maybe.WriteFile(name, text, 0o644)
}

// project is the tree that kernels and catalog lie in.
type project struct {
	root   string
	tools  map[string]string
	plugin string // of the emulator, compiled
}

func (p *project) kernels() string { return filepath.Join(p.root, "blocks", "kernels") }

// findRoot is the nearest folder upwards that holds go.mod.
func findRoot() (string, error) {
	at, err := os.Getwd()
	if err != nil {
		return "", err
	}
	for {
		if _, err := os.Stat(filepath.Join(at, "go.mod")); err == nil {
			return at, nil
		} else if !os.IsNotExist(err) && err != fs.ErrNotExist {
			return "", err
		}
		up := filepath.Dir(at)
		if up == at {
			return "", fmt.Errorf("no go.mod here or above: run gauge inside the project")
		}
		at = up
	}
}
