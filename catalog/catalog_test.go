package catalog

import "testing"

// Every shipped file reads without a mistake.
func TestEveryFileReads(t *testing.T) {
	lib, err := Open()
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range lib.BlockNames() {
		if _, err := lib.Block(name); err != nil {
			t.Errorf("block %s:\n%v", name, err)
		}
	}
	for _, name := range lib.CoreNames() {
		if _, err := lib.Core(name); err != nil {
			t.Errorf("core %s:\n%v", name, err)
		}
	}
	for _, name := range lib.BoardNames() {
		if _, err := lib.Board(name); err != nil {
			t.Errorf("board %s:\n%v", name, err)
		}
	}
	for _, name := range lib.CodecNames() {
		if _, err := lib.Codec(name); err != nil {
			t.Errorf("codec %s:\n%v", name, err)
		}
	}
	if _, err := lib.Hearing(); err != nil {
		t.Errorf("hearing:\n%v", err)
	}
}

// The plain defaults of the boards, 18 samples in and 21 out, say of which codecs
// they are.
func TestDefaultConvertersAreThoseOfTheCodecs(t *testing.T) {
	lib, err := Open()
	if err != nil {
		t.Fatal(err)
	}
	in, err := lib.Codec("ak4556")
	if err != nil {
		t.Fatal(err)
	}
	out, err := lib.Codec("tlv320aic3104")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range lib.BoardNames() {
		b, err := lib.Board(name)
		if err != nil {
			t.Fatal(err)
		}
		if b.Converter.In != in.In || b.Converter.Out != out.Out {
			t.Errorf("%s has converters of %g and %g samples, and %s and %s have %g and %g.", name, b.Converter.In, b.Converter.Out, in.Title, out.Title, in.In, out.Out)
		}
	}
}
