package main

import (
	"encoding/csv"
	"io"
	"slices"
	"strings"
)

// Sheet is everything that is known about one block or board. Every format
// prints from it.
type Sheet struct {
	Version int    `json:"version"`
	Kind    string `json:"kind"` // block or board
	Name    string `json:"name"`
	Title   string `json:"title"`
	About   string `json:"about"`
	Facts   []Fact `json:"facts"`
}

// Fact is one thing known, with the keys of its sources. The texts of the
// sources are facts too, of the section named sources.
type Fact struct {
	Section string   `json:"section"`
	Name    string   `json:"name"`
	Item    string   `json:"item,omitempty"`
	Value   string   `json:"value"`
	Sources []string `json:"sources,omitempty"`
}

// fact adds one; an empty value is none.
func (s *Sheet) fact(sources []string, section, name, item, value string) {
	if value != "" {
		s.Facts = append(s.Facts, Fact{section, name, item, value, sources})
	}
}

// printSheet writes a sheet in the format that was asked for.
func (a *app) printSheet(w io.Writer, s *Sheet) error {
	switch a.format {
	case asJSON:
		return printJSON(w, s)
	case asCSV:
		return s.csv(w)
	}
	return a.printDocument(w, s.document())
}

func (s *Sheet) csv(w io.Writer) error {
	out := csv.NewWriter(w)
	if err := out.Write([]string{"name", "section", "of", "item", "value", "sources"}); err != nil {
		return err
	}
	for _, f := range s.Facts {
		if err := out.Write([]string{s.Name, f.Section, f.Name, f.Item, f.Value, strings.Join(f.Sources, " ")}); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// document tells the facts section by section. What is known of one thing from
// the same sources stands on one line, the keys of the sources last.
func (s *Sheet) document() document {
	d := document{{title: s.Name + ": " + s.Title, text: s.About}}
	for rest := s.Facts; len(rest) > 0; {
		first := rest[0]
		same := 1
		for same < len(rest) && rest[same].sameLine(first) {
			same++
		}
		if len(d) == 1 || d[len(d)-1].title != first.Section {
			d = append(d, section{title: first.Section})
		}
		texts := make([]string, same)
		for i, f := range rest[:same] {
			texts[i] = strings.TrimSpace(f.Item + " " + f.Value)
		}
		line := first.Name + ": " + strings.Join(texts, "; ")
		if len(first.Sources) > 0 {
			line += " [" + strings.Join(first.Sources, ", ") + "]"
		}
		at := &d[len(d)-1]
		at.items = append(at.items, line)
		rest = rest[same:]
	}
	return d
}

// sameLine tells whether two facts are of one thing and from the same sources.
func (f Fact) sameLine(g Fact) bool {
	return f.Section == g.Section && f.Name == g.Name && slices.Equal(f.Sources, g.Sources)
}
