package catalog

import (
	_ "embed"
	"encoding/binary"
	"hash/crc32"

	"elbowroom/blocks/source"
)

// trees holds the shipped files as they parse, since parsing YAML is a good
// part of what a check takes. Each tells of which text it was made, so that a
// file that has changed since is parsed as ever.
//
//go:embed trees.bin
var trees string

// tree is one shipped file as it parses.
type tree struct {
	name string
	sum  uint32 // of its text
	body string
}

// packTrees packs trees, the index first, so that finding one reads no other:
// how many there are, then of each the name, the checksum and the length.
func packTrees(all []tree) []byte {
	index := binary.AppendUvarint(nil, uint64(len(all)))
	var bodies []byte
	for _, t := range all {
		index = appendText(index, t.name)
		index = binary.AppendUvarint(index, uint64(t.sum))
		index = binary.AppendUvarint(index, uint64(len(t.body)))
		bodies = append(bodies, t.body...)
	}
	return append(index, bodies...)
}

// findTree finds what packTrees packed for a file; "": there is none for this
// text.
func findTree(all, name string, text []byte) string {
	u := &unpacker{rest: all}
	before, length, found := 0, 0, false
	for range u.number() {
		of, sum, n := u.take(u.number()), u.number(), u.number()
		switch {
		case found:
		case of != name:
			before += n
		case uint32(sum) != crc32.ChecksumIEEE(text):
			return ""
		default:
			found, length = true, n
		}
	}
	if !found {
		return ""
	}
	return u.rest[before : before+length]
}

// parse gives a shipped file as a value, from its tree where that is current.
func parse(name string, text []byte, errs *source.Errors) source.Value {
	file := source.NewFile("catalog/"+name, text)
	if v, ok := source.ReadTree(file, findTree(trees, name, text), errs); ok {
		return v
	}
	return source.Parse(file, errs)
}
