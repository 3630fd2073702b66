package source

import "testing"

// treeSample holds every kind and style of value that a file can have.
const treeSample = "# The lantern's own file.\nlantern: {wick: 3, lit: true, oil: ~}\nshadows:\n  - \"fox\\tand hen\"\n  - 'moon'\n  - 2.5\n  - |\n    two\n    lines\n  - []\n"

func treeOf(t *testing.T, file *File) (Value, string) {
	t.Helper()
	var errs Errors
	v := Parse(file, &errs)
	if err := errs.Err(); err != nil {
		t.Fatalf("the sample does not parse: %v", err)
	}
	tree, ok := v.AppendTree(nil)
	if !ok {
		t.Fatal("the sample has no compact form")
	}
	return v, string(tree)
}

// A tree read back is the value that was written: kinds, texts and places.
func TestTreeReadsBack(t *testing.T) {
	file := NewFile("lantern.yaml", []byte(treeSample))
	want, tree := treeOf(t, file)
	got, ok := ReadTree(file, tree, &Errors{})
	if !ok {
		t.Fatal("the tree that was just written does not read back")
	}
	same(t, "the file", want, got)
}

func same(t *testing.T, what string, want, got Value) {
	t.Helper()
	w, g := want.node, got.node
	if w.Kind != g.Kind || w.Style != g.Style || w.Tag != g.Tag || w.Value != g.Value || want.Where() != got.Where() {
		t.Errorf("%s reads back as %s '%s' at %s, and was %s '%s' at %s", what, g.Tag, g.Value, got.Where(), w.Tag, w.Value, want.Where())
	}
	if len(w.Content) != len(g.Content) {
		t.Fatalf("%s reads back with %d values below it, and had %d", what, len(g.Content), len(w.Content))
	}
	for i := range w.Content {
		same(t, "a value below "+what, Value{want.file, w.Content[i], want.errs}, Value{got.file, g.Content[i], got.errs})
	}
}

// A tree cut short anywhere is refused.
func TestTreeCutShort(t *testing.T) {
	file := NewFile("lantern.yaml", []byte(treeSample))
	_, tree := treeOf(t, file)
	for n := range len(tree) {
		if _, ok := ReadTree(file, tree[:n], &Errors{}); ok {
			t.Errorf("a tree of %d bytes is read although only %d are there", len(tree), n)
		}
	}
}

func FuzzReadTree(f *testing.F) {
	file := NewFile("lantern.yaml", []byte(treeSample))
	var errs Errors
	tree, _ := Parse(file, &errs).AppendTree(nil)
	f.Add(string(tree))
	f.Add("")
	f.Add("\x01\xff\xff\xff\xff\xff")
	f.Fuzz(func(t *testing.T, tree string) {
		v, ok := ReadTree(file, tree, &Errors{})
		if !ok {
			return
		}
		again, ok := v.AppendTree(nil)
		if !ok {
			t.Fatalf("%q is read, and the value has no compact form", tree)
		}
		w, ok := ReadTree(file, string(again), &Errors{})
		if !ok {
			t.Fatalf("%q is read, and what is written of it is not", tree)
		}
		same(t, "the value", v, w)
	})
}
