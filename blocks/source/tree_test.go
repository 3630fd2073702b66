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
	return v, string(v.AppendTree(nil))
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
	if w.kind != g.kind || w.style != g.style || w.null != g.null || w.value != g.value || want.Where() != got.Where() {
		t.Errorf("%s reads back as %s at %s, and was %s at %s", what, got.kind(), got.Where(), want.kind(), want.Where())
	}
	if len(w.content) != len(g.content) {
		t.Fatalf("%s reads back with %d values below it, and had %d", what, len(g.content), len(w.content))
	}
	for i := range w.content {
		same(t, "a value below "+what, Value{want.file, w.content[i], want.errs}, Value{got.file, g.content[i], got.errs})
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
	tree := Parse(file, &errs).AppendTree(nil)
	f.Add(string(tree))
	f.Add("")
	f.Add("\x01\xff\xff\xff\xff\xff")
	f.Fuzz(func(t *testing.T, tree string) {
		v, ok := ReadTree(file, tree, &Errors{})
		if !ok {
			return
		}
		w, ok := ReadTree(file, string(v.AppendTree(nil)), &Errors{})
		if !ok {
			t.Fatalf("%q is read, and what is written of it is not", tree)
		}
		same(t, "the value", v, w)
	})
}
