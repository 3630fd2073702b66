package main

import (
	"encoding/csv"
	"encoding/json"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// TestPlansOfOtherBoards holds what 'boards --for --plans' says must be given up
// to what 'lighten --board' finds there, in JSON and CSV.
func TestPlansOfOtherBoards(t *testing.T) {
	file := filepath.Join(goodGraphs, "tide-organ.yaml")
	text := asked(t, file, "json", "boards", "--plans", "--for")
	var schema strings.Builder
	if code := run(t.Context(), strings.NewReader(""), &schema, io.Discard, []string{"schema", "boards"}); code != exitFits {
		t.Fatalf("schema boards exits with %d", code)
	}
	validators(t, schema.String())(t, "boards --plans", text)
	var r HoldersReport
	if err := json.Unmarshal([]byte(text), &r); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(strings.NewReader(asked(t, file, "csv", "boards", "--plans", "--for"))).ReadAll()
	if err != nil || len(rows) != len(r.Boards)+1 {
		t.Fatalf("CSV has %d rows for %d boards (%v)", len(rows), len(r.Boards), err)
	}
	found := 0
	for i := range r.Boards {
		b := &r.Boards[i]
		if (b.Cost == nil) != b.holds() {
			t.Errorf("%s is %s and has a cost of %v: only what does not hold the graph costs something", b.Board, b.Verdict, b.Cost)
		}
		if b.Cost == nil || !b.Cost.Found {
			continue
		}
		found++
		var l Lighter
		if err := json.Unmarshal([]byte(asked(t, file, "json", "lighten", "--board", b.Board)), &l); err != nil {
			t.Fatal(err)
		}
		if len(l.Plans) == 0 || b.Cost.Proven && math.Abs(l.Plans[0].Loss-b.Cost.Loss) > 1e-9 {
			t.Errorf("%s costs %v points, and lighten finds %v there", b.Board, b.Cost.Loss, l.Plans)
		}
		if row := rows[i+1]; row[1] != b.Board || !strings.Contains(strings.Join(row, "|"), b.Cost.changes()) {
			t.Errorf("CSV says %v of %s, which gives up %s", row, b.Board, b.Cost.changes())
		}
	}
	if found == 0 {
		t.Errorf("no board that does not hold %s could do with less of it", file)
	}
}

// A board that has none of a jack has no share of it to tell: the JSON of every
// graph is JSON all the same, and shares stand where there is a limit.
func TestHoldersWithoutLimit(t *testing.T) {
	without := 0
	for _, file := range graphFiles(t) {
		var r HoldersReport
		if err := json.Unmarshal([]byte(asked(t, file, "json", "boards", "--for")), &r); err != nil {
			t.Fatalf("%s: no JSON: %v", file, err)
		}
		for i, b := range r.Boards {
			if i > 0 && b.Refusal == "" && b.Verdict == r.Boards[i-1].Verdict && farthest(&b) < farthest(&r.Boards[i-1])*(1-1e-9) {
				t.Errorf("%s: %s is %s by %v times and stands behind %s, which is by %v", file, b.Board, b.Verdict, farthest(&b), r.Boards[i-1].Board, farthest(&r.Boards[i-1]))
			}
			for _, a := range b.Against {
				if a.Limit == 0 {
					without++
				}
				if (a.Share > 0) != (a.Limit > 0) {
					t.Errorf("%s: %s of %s has a limit of %v and a share of %v", file, a.Resource, b.Board, a.Limit, a.Share)
				}
			}
		}
	}
	if without == 0 {
		t.Error("no graph asks a board for a jack of which it has none")
	}
}

// farthest is the share that is told of what is farthest from holding.
func farthest(c *Candidate) float64 {
	if len(c.Against) == 0 {
		return 0
	}
	if a := c.Against[0]; a.Used > a.Limit {
		return a.Used / a.Limit
	}
	return c.Against[0].Share
}

// A graph that names a bank is told which boards would hold it without: the same
// verdicts that its file gets once the key is taken out by hand.
func TestBoardsWithoutTheBank(t *testing.T) {
	for _, tt := range []struct{ file, key, text string }{
		{"bell-choir.yaml", "hall.bank", ", bank: sram"},
		{"organ-grinder.yaml", "code.run", "code: {run: sram}\n"},
		{"train-over-the-bridge.yaml", "mist.bank", ", bank: axi"},
	} {
		file := filepath.Join(goodGraphs, tt.file)
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		without := strings.Replace(string(text), tt.text, "", 1)
		if without == string(text) {
			t.Fatalf("%s has no %q", tt.file, tt.text)
		}
		other := filepath.Join(t.TempDir(), tt.file)
		if err := os.WriteFile(other, []byte(without), 0o644); err != nil {
			t.Fatal(err)
		}
		candidates := func(file string) map[string]Candidate {
			var r HoldersReport
			if err := json.Unmarshal([]byte(asked(t, file, "json", "boards", "--for")), &r); err != nil {
				t.Fatal(err)
			}
			list := map[string]Candidate{}
			for _, c := range r.Boards {
				list[c.Board] = c
			}
			return list
		}
		freed, named := candidates(other), 0
		for board, c := range candidates(file) {
			if len(c.Without) == 0 {
				continue
			}
			named++
			if c.Verdict != stoppedByRefusal || !slices.Equal(c.Without, []string{tt.key}) {
				t.Errorf("%s on %s is %s without %v, want a refusal as it is, and without %s", tt.file, board, c.Verdict, c.Without, tt.key)
			}
			if f := freed[board]; c.Freed != f.Verdict || c.Load != f.Load || c.Share != f.Share {
				t.Errorf("%s on %s: without %s it is told %s, load %v, %v of %s; the file without it %s, load %v, %v of %s",
					tt.file, board, tt.key, c.Freed, c.Load, c.Share, c.Scarce, f.Verdict, f.Load, f.Share, f.Scarce)
			}
		}
		if named == 0 {
			t.Errorf("no board lacks the bank that %s names", tt.file)
		}
	}
}
