package catalog

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io/fs"
	"path"

	"elbowroom/blocks"
)

// LoadEmulation reads what emulation gave for a block on a core from a folder
// that holds CORE/BLOCK.json, and checks that every formula compiles. Where
// there is no such file the error is fs.ErrNotExist.
func LoadEmulation(files fs.FS, core string, b *blocks.Block) (*blocks.Emulation, error) {
	name := path.Join(core, b.Name+".json")
	text, err := fs.ReadFile(files, name)
	if err != nil {
		return nil, err
	}
	e := &blocks.Emulation{}
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(e); err != nil {
		return nil, fmt.Errorf("reading emulated figures from %s: %w", name, err)
	}
	if e.Block != b.Name || e.Core != core {
		return nil, fmt.Errorf("reading emulated figures from %s: they are of %s on %s", name, e.Block, e.Core)
	}
	for v := range e.Variants {
		for s := range e.Variants[v].Styles {
			for _, t := range e.Variants[v].Styles[s].Terms {
				if _, err := b.CompileTimes(t.Times); err != nil {
					return nil, fmt.Errorf("reading emulated figures from %s: the term '%s' of %s: %w", name, t.Times, t.Group, err)
				}
			}
		}
	}
	return e, nil
}
