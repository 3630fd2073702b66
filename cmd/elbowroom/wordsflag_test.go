package main

import (
	"slices"
	"testing"

	"github.com/spf13/pflag"
)

func TestFlagsOfSeveralWords(t *testing.T) {
	for _, tt := range []struct {
		args        []string
		keep, wants []string
	}{
		{nil, []string{"wind"}, nil},
		{[]string{"--keep", "rain"}, []string{"rain"}, nil},
		{[]string{"--keep", "rain, sea", "--keep=owl"}, []string{"rain", "sea", "owl"}, nil},
		{[]string{"--want", "cpu=70%", "--want", "from=[sea,owl]"}, []string{"wind"}, []string{"cpu=70%", "from=[sea,owl]"}},
	} {
		keep, wants := []string{"wind"}, []string(nil)
		flags := pflag.NewFlagSet("test", pflag.ContinueOnError)
		flags.Var(wordsOf(&keep), "keep", "")
		flags.Var(each(&wants), "want", "")
		if err := flags.Parse(tt.args); err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(keep, tt.keep) || !slices.Equal(wants, tt.wants) {
			t.Errorf("%v gives %q and %q, want %q and %q", tt.args, keep, wants, tt.keep, tt.wants)
		}
	}
}
