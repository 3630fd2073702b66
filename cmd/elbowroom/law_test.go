package main

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"elbowroom/catalog"
	"elbowroom/estimator/chance"
)

// anyNumber is a number as it is printed, thousands apart by spaces.
var anyNumber = regexp.MustCompile(`\d+(?:[ .]\d+)*`)

// Whatever graph is asked about, JSON, CSV, Markdown and the table exit alike and
// say the same: one verdict, the same figure of every resource, and on paper the
// same numbers in the same order.
func TestFormatsAgree(t *testing.T) {
	lib, err := catalog.Open()
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "random.yaml")
	tried, answered := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		tried++
		text := chance.Graph(t, lib)
		if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		said, exits := map[string]string{}, map[string]int{}
		for _, format := range formats {
			var out, complaints strings.Builder
			exits[format] = run(context.Background(), strings.NewReader(""), &out, &complaints, []string{"check", "--format", format, file})
			said[format] = out.String()
			if exits[format] != exits[formats[0]] {
				t.Fatalf("as %s check exits with %d, as %s with %d:\n%s", formats[0], exits[formats[0]], format, exits[format], text)
			}
		}
		if exits[formats[0]] == exitWrong {
			return
		}
		answered++
		var r Report
		if err := json.Unmarshal([]byte(said["json"]), &r); err != nil {
			t.Fatalf("JSON does not read back: %v", err)
		}
		a := &r.Graphs[0]

		rows, err := csv.NewReader(strings.NewReader(said["csv"])).ReadAll()
		if err != nil {
			t.Fatalf("CSV does not read back: %v", err)
		}
		inCSV := map[string]string{}
		for _, row := range rows {
			if row[1] == "resource" && row[3] == "used" {
				inCSV[row[2]] = row[4] + " " + row[8]
			}
		}
		for _, res := range a.Resources {
			if want := strconv.FormatFloat(res.Used.Value, 'f', -1, 64) + " " + res.Verdict; inCSV[res.Name] != want {
				t.Errorf("of %s JSON says '%s', and CSV '%s':\n%s", res.Name, want, inCSV[res.Name], text)
			}
		}

		// In the tables, several where there are many banks, each bank's column ends
		// with its bytes.
		for _, format := range []string{"table", "markdown"} {
			_, bytes, _ := strings.Cut(said[format], "What the bytes are")
			end := strings.Join(regexp.MustCompile(`(?m)^\W*used\b.*$`).FindAllString(bytes, -1), "\n")
			var printed []string
			for _, f := range anyNumber.FindAllString(end, -1) {
				printed = append(printed, strings.ReplaceAll(f, " ", ""))
			}
			for _, res := range a.Resources {
				if used := strconv.FormatFloat(res.Used.Value, 'f', -1, 64); res.Unit == "bytes" && res.Used.Value > 0 && !slices.Contains(printed, used) {
					t.Errorf("JSON says that %s holds %s bytes, and the %s ends with '%s':\n%s", res.Name, used, format, end, text)
				}
			}
			if words := strings.Join(strings.Fields(said[format]), " "); !strings.HasPrefix(words, a.Sentence) {
				t.Errorf("JSON says '%s', and the %s begins '%.200s'", a.Sentence, format, words)
			}
		}
		table, markdown := anyNumber.FindAllString(said["table"], -1), anyNumber.FindAllString(said["markdown"], -1)
		slices.Sort(table)
		slices.Sort(markdown)
		if !slices.Equal(table, markdown) {
			t.Errorf("table and Markdown show different numbers:\n%v\n%v\n%s", table, markdown, text)
		}
	})
	if !t.Failed() && answered*4 < tried {
		t.Errorf("of %d random graphs %d were answered: too few", tried, answered)
	}
}
