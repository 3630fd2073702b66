package catalog

import (
	_ "embed"
	"encoding/binary"
	"hash/crc32"

	"elbowroom/blocks/source"
)

// trees holds the shipped files as they parse, since parsing YAML is a good
// part of what a check takes. Each entry tells of which text it was made, so
// that a file that has changed since is parsed as ever.
//
//go:embed trees.bin
var trees string

// An entry is the length of the file's name in two bytes, the checksum of its
// text and the length of its tree in four bytes each, the name, and the tree.
const entryHead = 2 + 4 + 4

// appendTree appends the entry of a shipped file.
func appendTree(all []byte, name, text string, v source.Value) ([]byte, bool) {
	tree, ok := v.AppendTree(nil)
	if !ok {
		return all, false
	}
	all = binary.BigEndian.AppendUint16(all, uint16(len(name)))
	all = binary.BigEndian.AppendUint32(all, checksum(text))
	all = binary.BigEndian.AppendUint32(all, uint32(len(tree)))
	all = append(all, name...)
	return append(all, tree...), true
}

// treeOf finds the tree of a shipped file; "": there is none for this text.
func treeOf(all, name, text string) string {
	for len(all) >= entryHead {
		head := []byte(all[:entryHead])
		names, sum, size := int(binary.BigEndian.Uint16(head)), binary.BigEndian.Uint32(head[2:]), int(binary.BigEndian.Uint32(head[6:]))
		all = all[entryHead:]
		if names+size > len(all) {
			break
		}
		if all[:names] == name {
			if sum != checksum(text) {
				break
			}
			return all[names : names+size]
		}
		all = all[names+size:]
	}
	return ""
}

func checksum(text string) uint32 { return crc32.ChecksumIEEE([]byte(text)) }

// parse gives a shipped file as a value, from its tree where that is current.
func parse(file *source.File, name string, errs *source.Errors) source.Value {
	if v, ok := source.ReadTree(file, treeOf(trees, name, file.Text()), errs); ok {
		return v
	}
	return source.Parse(file, errs)
}
