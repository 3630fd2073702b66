package main

import "strings"

// words is a flag that may be given several times; where it is a list, each
// time with several words joined by commas. The flags package's own of this kind
// reserve 4 KiB for each flag of every command, given or not.
type words struct {
	words *[]string
	list  bool
	given bool // until it is, the words are those that stand without the flag
}

func (w *words) String() string { return strings.Join(*w.words, ",") }

// Type is the word that help shows for the value where the flag names none.
func (w *words) Type() string { return "words" }

// Set reads the flag's value.
func (w *words) Set(text string) error {
	if !w.given {
		w.given, *w.words = true, nil
	}
	if !w.list {
		*w.words = append(*w.words, text)
		return nil
	}
	for word := range strings.SplitSeq(text, ",") {
		*w.words = append(*w.words, strings.TrimSpace(word))
	}
	return nil
}

// wordsOf lets a flag be set to words joined by commas, in place of those that
// stand there.
func wordsOf(all *[]string) *words { return &words{words: all, list: true} }

// each lets each use of a flag add one text as it is.
func each(all *[]string) *words { return &words{words: all} }
