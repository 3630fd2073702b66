package main

import (
	"encoding/csv"
	"encoding/json"
	"io"
	"math"
	"path/filepath"
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
		for _, b := range r.Boards {
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
