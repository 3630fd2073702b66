package main

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/google/jsonschema-go/jsonschema"
	second "github.com/santhosh-tekuri/jsonschema/v6"
	"go.yaml.in/yaml/v4"

	"elbowroom/catalog"
)

const goodGraphs = "../../testdata/graphs/good"

func graphFiles(t testing.TB) []string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(goodGraphs, "*.yaml"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no graphs in %s (%v)", goodGraphs, err)
	}
	return files
}

// answers runs check in a format and returns what it prints. A graph that pins
// a buffer to a bank cannot be read for a board without that bank; then there
// is no answer.
func answers(t *testing.T, args ...string) (string, bool) {
	t.Helper()
	var out, complaints strings.Builder
	code := run(context.Background(), strings.NewReader(""), &out, &complaints, append([]string{"check"}, args...))
	if code == exitWrong {
		if complaints.Len() == 0 {
			t.Errorf("check %v exits with 2 and says nothing", args)
		}
		return "", false
	}
	if complaints.Len() > 0 {
		t.Errorf("check %v answers and complains: %s", args, complaints.String())
	}
	return out.String(), true
}

// eachAnswer calls f for every good graph on its own board and on every third
// of the others, so that every board meets several graphs.
func eachAnswer(t *testing.T, f func(t *testing.T, what string, args []string)) {
	lib, err := catalog.Open()
	if err != nil {
		t.Fatal(err)
	}
	for i, file := range graphFiles(t) {
		f(t, filepath.Base(file), []string{file})
		for k, board := range lib.BoardNames() {
			if (i+k)%3 != 0 {
				continue
			}
			f(t, filepath.Base(file)+" on "+board, []string{file, "--board", board})
		}
	}
}

func TestPartsAddUpInJSON(t *testing.T) {
	validate := outputValidators(t)
	answered := 0
	eachAnswer(t, func(t *testing.T, what string, args []string) {
		text, ok := answers(t, append(args, "--format", "json")...)
		if !ok {
			return
		}
		answered++
		validate(t, what, text)
		var r Report
		if err := json.Unmarshal([]byte(text), &r); err != nil {
			t.Fatalf("%s: JSON does not read back: %v", what, err)
		}
		a := &r.Graphs[0]
		for _, res := range a.Resources {
			var sum int64
			for _, p := range res.Parts {
				if p.Bytes <= 0 {
					t.Errorf("%s: %s: the part %s has %d bytes, want only parts that take some", what, res.Name, p.Name, p.Bytes)
				}
				sum += p.Bytes
			}
			if res.Unit == "bytes" && float64(sum) != res.Used.Value {
				t.Errorf("%s: %s: parts add up to %d bytes, and %g are used", what, res.Name, sum, res.Used.Value)
			}
			if res.Left != res.Limit-res.Used.Value {
				t.Errorf("%s: %s: %g left, want limit less used, %g", what, res.Name, res.Left, res.Limit-res.Used.Value)
			}
			if res.Used.Low > res.Used.Value || res.Used.High < res.Used.Value {
				t.Errorf("%s: %s: the figure %g lies outside its band %g to %g", what, res.Name, res.Used.Value, res.Used.Low, res.Used.High)
			}
		}
		c := a.Cycles
		for name, l := range map[string]*Load{"mean": &c.Mean, "worst": &c.Worst, "bound": &c.Bound} {
			if sum := l.Compute.Value + l.Stalls.Value + l.System.Value; sum != l.Total.Value {
				t.Errorf("%s: %s: parts add up to %g cycles, and the total is %g", what, name, sum, l.Total.Value)
			}
		}
		if c.Mean.Total.Value > c.Worst.Total.Value || c.Worst.Total.Value > c.Bound.Total.Value {
			t.Errorf("%s: mean %g, worst %g and bound %g cycles do not ascend", what, c.Mean.Total.Value, c.Worst.Total.Value, c.Bound.Total.Value)
		}
		if l := a.Latency; l != nil {
			var sum float64
			for _, p := range l.Parts {
				sum += p.Samples
			}
			if sum != l.Samples {
				t.Errorf("%s: the latency's parts add up to %g samples, and the total is %g", what, sum, l.Samples)
			}
		}
	})
	if answered < len(graphFiles(t))*4 {
		t.Errorf("only %d of the graphs on boards were answered: the test looks at too few", answered)
	}
}

// TestPartsAddUpInCSV also shows that what is written parses back.
func TestPartsAddUpInCSV(t *testing.T) {
	eachAnswer(t, func(t *testing.T, what string, args []string) {
		text, ok := answers(t, append(args, "--format", "csv")...)
		if !ok {
			return
		}
		rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
		if err != nil {
			t.Fatalf("%s: CSV does not read back: %v", what, err)
		}
		if got := strings.Join(rows[0], ","); got != strings.Join(csvHeader, ",") {
			t.Fatalf("%s: the first row is %q, want the header", what, got)
		}
		sums, used := map[string]float64{}, map[string]float64{}
		for _, row := range rows[1:] {
			section, name, item := row[1], row[2], row[3]
			if row[4] == "" {
				continue
			}
			value, err := strconv.ParseFloat(row[4], 64)
			if err != nil {
				t.Fatalf("%s: %v: the value is no number: %v", what, row, err)
			}
			switch {
			case section == "part":
				sums["bytes of "+name] += value
			case section == "resource" && item == "used" && row[7] == "bytes":
				used["bytes of "+name] = value
			case section == "cycles" && item == "total":
				used["cycles "+name] = value
			case section == "cycles" && item != "":
				sums["cycles "+name] += value
			case section == "latency" && item == "total":
				used["latency"] = value
			case section == "latency":
				sums["latency"] += value
			}
		}
		if len(used) < 5 {
			t.Errorf("%s: only %d totals found", what, len(used))
		}
		for name, total := range used {
			if sums[name] != total {
				t.Errorf("%s: %s: parts add up to %g, and the total is %g", what, name, sums[name], total)
			}
		}
	})
}

// TestPrintedPartsAddUp reads the tables as a person does: the numbers of every
// column under 'bytes', 'cycles' and 'latency' must give the last row.
func TestPrintedPartsAddUp(t *testing.T) {
	for _, format := range []string{"table", "markdown"} {
		eachAnswer(t, func(t *testing.T, what string, args []string) {
			text, ok := answers(t, append(args, "--format", format)...)
			if !ok {
				return
			}
			what += " as " + format
			checked := 0
			for _, paragraph := range strings.Split(text, "\n\n") {
				rows := tableRows(paragraph, format)
				if len(rows) < 3 {
					continue
				}
				last := len(rows) - 1
				columns := len(rows[0])
				switch rows[0][0] {
				case "bytes":
				case "cycles":
					columns = 4 // mean, worst, bound; then the share and the band
				case "latency":
				default:
					continue
				}
				for c := 1; c < columns; c++ {
					sum := 0.0
					for _, row := range rows[1:last] {
						sum += printedNumber(t, what, row[c])
					}
					if total := printedNumber(t, what, rows[last][c]); math.Abs(sum-total) > 1e-9 {
						t.Errorf("%s: %s, column %s: the printed parts give %g, and %g is printed", what, rows[0][0], rows[0][c], sum, total)
					}
					checked++
				}
			}
			if checked < 6 {
				t.Errorf("%s: only %d columns of numbers found in\n%s", what, checked, text)
			}
		})
	}
}

// tableRows gives the cells of a printed table, from its header to its last
// row, which stands below the second rule where the table is plain.
func tableRows(paragraph, format string) [][]string {
	var rows [][]string
	var plain []string
	rules := 0
	for line := range strings.Lines(paragraph) {
		line = strings.TrimRight(line, "\n")
		switch {
		case strings.HasPrefix(line, "|") && !strings.HasPrefix(line, "|:"):
			cells := strings.Split(strings.Trim(line, "|"), "|")
			for i := range cells {
				cells[i] = strings.TrimSpace(cells[i])
			}
			rows = append(rows, cells)
		case strings.HasPrefix(line, "─"):
			rules++
		case strings.HasPrefix(line, " ") && rules < 2:
			plain = append(plain, line)
		case strings.HasPrefix(line, " ") && rules == 2:
			rules++
			plain = append(plain, line)
		}
	}
	if format == "table" && rules == 3 {
		return plainColumns(plain)
	}
	return rows
}

// plainColumns cuts the lines of a plain table where two or more spaces stand
// in every one of them.
func plainColumns(lines []string) [][]string {
	var all [][]rune
	longest := 0
	for _, l := range lines {
		all = append(all, []rune(l))
		longest = max(longest, len(all[len(all)-1]))
	}
	blank := func(at int) bool {
		for _, l := range all {
			if at < len(l) && l[at] != ' ' {
				return false
			}
		}
		return true
	}
	rows := make([][]string, len(all))
	start := 0
	for at := 1; at <= longest; at++ {
		if at < longest && !(blank(at) && blank(at+1)) {
			continue
		}
		for i, l := range all {
			rows[i] = append(rows[i], strings.TrimSpace(string(l[min(start, len(l)):min(at, len(l))])))
		}
		start = at
		for at < longest && blank(at) {
			at++
		}
	}
	return rows
}

func printedNumber(t *testing.T, what, text string) float64 {
	t.Helper()
	if text == "" {
		return 0
	}
	v, err := strconv.ParseFloat(strings.ReplaceAll(text, " ", ""), 64)
	if err != nil {
		t.Errorf("%s: %q is no number", what, text)
	}
	return v
}

// outputValidators give a check of a text against the schema that 'schema
// output' prints, by the library that made it and by another.
func outputValidators(t *testing.T) func(t *testing.T, what, text string) {
	t.Helper()
	var out, complaints strings.Builder
	if code := run(context.Background(), strings.NewReader(""), &out, &complaints, []string{"schema", "output"}); code != exitFits {
		t.Fatalf("schema output exits with %d: %s", code, complaints.String())
	}
	return validators(t, out.String())
}

func validators(t *testing.T, schema string) func(t *testing.T, what, text string) {
	t.Helper()
	var s jsonschema.Schema
	if err := json.Unmarshal([]byte(schema), &s); err != nil {
		t.Fatalf("the schema is no JSON Schema: %v", err)
	}
	first, err := s.Resolve(nil)
	if err != nil {
		t.Fatalf("the schema does not resolve: %v", err)
	}
	document, err := second.UnmarshalJSON(strings.NewReader(schema))
	if err != nil {
		t.Fatal(err)
	}
	compiler := second.NewCompiler()
	if err := compiler.AddResource("schema.json", document); err != nil {
		t.Fatal(err)
	}
	other, err := compiler.Compile("schema.json")
	if err != nil {
		t.Fatalf("another library does not compile the schema: %v", err)
	}
	return func(t *testing.T, what, text string) {
		t.Helper()
		var value any
		if err := json.Unmarshal([]byte(text), &value); err != nil {
			t.Fatalf("%s: no JSON: %v", what, err)
		}
		if err := first.Validate(value); err != nil {
			t.Errorf("%s: the schema refuses it: %v", what, err)
		}
		again, err := second.UnmarshalJSON(strings.NewReader(text))
		if err != nil {
			t.Fatal(err)
		}
		if err := other.Validate(again); err != nil {
			t.Errorf("%s: by another library the schema refuses it: %v", what, err)
		}
	}
}

// TestOutputSchemaOfWrongInput shows that mistakes are told in JSON as well.
func TestOutputSchemaOfWrongInput(t *testing.T) {
	validate := outputValidators(t)
	file := filepath.Join(t.TempDir(), "storm.yaml")
	if err := os.WriteFile(file, []byte("board: m7-480-sdram\nsample_rate: 48 kHz\nblock_size: 48\nnodes: {wind: {block: nois}}\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	var out, complaints strings.Builder
	code := run(context.Background(), strings.NewReader(""), &out, &complaints, []string{"check", "--format", "json", file, "missing.yaml"})
	if code != exitWrong {
		t.Errorf("a misspelt block exits with %d, want 2", code)
	}
	validate(t, "two wrong files", out.String())
	var r Report
	if err := json.Unmarshal([]byte(out.String()), &r); err != nil {
		t.Fatal(err)
	}
	want := []Mistake{{File: file, Line: 4, Column: 23, Message: "there is no block named 'nois'", Hint: "did you mean 'noise'?"}}
	if got := r.Graphs[0].Mistakes; len(got) != 1 || got[0] != want[0] {
		t.Errorf("the mistakes are %+v, want %+v", got, want)
	}
	if r.Exit != exitWrong || len(r.Graphs) != 2 || r.Graphs[1].Verdict != wrongInput {
		t.Errorf("the report is %+v, want two answers of wrong input and exit 2", r)
	}
}

func graphSchemaText(t *testing.T) string {
	t.Helper()
	var out, complaints strings.Builder
	if code := run(context.Background(), strings.NewReader(""), &out, &complaints, []string{"schema", "graph"}); code != exitFits {
		t.Fatalf("schema graph exits with %d: %s", code, complaints.String())
	}
	return out.String()
}

// jsonOf is a YAML text as an editor hands it to a JSON Schema.
func jsonOf(t *testing.T, text []byte) string {
	t.Helper()
	var value any
	if err := yaml.Unmarshal(text, &value); err != nil {
		t.Fatalf("not YAML: %v", err)
	}
	out, err := json.Marshal(value)
	if err != nil {
		t.Fatalf("not expressible as JSON: %v", err)
	}
	return string(out)
}

func TestGoodGraphsFollowTheSchema(t *testing.T) {
	validate := validators(t, graphSchemaText(t))
	for _, file := range graphFiles(t) {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		validate(t, filepath.Base(file), jsonOf(t, text))
	}
	validate(t, "the graph that new writes", jsonOf(t, starter))
	validate(t, "a graph that copies its code", jsonOf(t, []byte("board: m7-480-sdram\nsample_rate: 48 kHz\nblock_size: 48\ncode: {optimise: Os, run: itcm}\nnodes: {wind: {block: noise, code: {calls: sample}}}\n")))
}

func TestSchemaRefusesWhatIsWrong(t *testing.T) {
	var s jsonschema.Schema
	if err := json.Unmarshal([]byte(graphSchemaText(t)), &s); err != nil {
		t.Fatal(err)
	}
	resolved, err := s.Resolve(nil)
	if err != nil {
		t.Fatal(err)
	}
	const top = "board: m7-480-sdram\nsample_rate: 48 kHz\nblock_size: 48\n"
	for _, tt := range []struct{ name, graph string }{
		{"a block that is not in the catalog", top + "nodes: {wind: {block: nois}}"},
		{"a parameter that the block has not", top + "nodes: {wind: {block: noise, color: pink}}"},
		{"a word that is no choice", top + "nodes: {wind: {block: noise, colour: mauve}}"},
		{"a quantity of another unit", top + "nodes: {echo: {block: delay, from: echo, time: 3 kHz}}"},
		{"a time without a unit", top + "nodes: {echo: {block: delay, from: echo, time: 350}}"},
		{"a span where nothing moves", top + "nodes: {echo: {block: delay, from: echo, time: 10 ms..20 ms}}"},
		{"a top level key that is unknown", top + "nodez: {}\nnodes: {wind: {block: noise}}"},
		{"no board", "sample_rate: 48 kHz\nblock_size: 48\nnodes: {wind: {block: noise}}"},
		{"no nodes", top},
		{"a node's name with a space", top + "nodes: {the wind: {block: noise}}"},
		{"a moved parameter without a span", top + "nodes: {howl: {block: one-pole, from: wind, cutoff: {from: crank}}}"},
		{"a node that says where code runs", top + "nodes: {wind: {block: noise, code: {run: itcm}}}"},
		{"voices without a count", top + "nodes: {wind: {block: noise}}\nvoices: {bass: {nodes: {osc: {block: sine}}, out: osc}}"},
	} {
		var value any
		if err := json.Unmarshal([]byte(jsonOf(t, []byte(tt.graph))), &value); err != nil {
			t.Fatal(err)
		}
		if err := resolved.Validate(value); err == nil {
			t.Errorf("%s: the schema takes it, want it refused:\n%s", tt.name, tt.graph)
		}
	}
}

// TestAdding holds the one rule of printed sums: as printed they add up.
func TestAdding(t *testing.T) {
	for _, tt := range []struct {
		decimals int
		parts    []float64
		want     []string
		sum      string
	}{
		{0, []float64{0.4, 0.4, 0.4}, []string{"1", "0", "1"}, "2"},
		{0, []float64{17248.5, 1368, 358}, []string{"17 249", "1 368", "358"}, "18 975"},
		{2, []float64{1, 1, 0.4375}, []string{"1.00", "1.00", "0.44"}, "2.44"},
		{2, nil, nil, "0.00"},
	} {
		got, sum := adding(tt.decimals, tt.parts...)
		if fmt.Sprint(got) != fmt.Sprint(tt.want) || sum != tt.sum {
			t.Errorf("%v to %d decimals prints as %v = %s, want %v = %s", tt.parts, tt.decimals, got, sum, tt.want, tt.sum)
		}
	}
}

func TestWrap(t *testing.T) {
	got := strings.Join(wrap("the worst block takes 18 975 of 480 000 cycles", 20), "|")
	want := "the worst block|takes 18 975 of|480 000 cycles"
	if got != want {
		t.Errorf("wrapped at 20 characters it is %q, want %q: a number keeps its groups and its unit", got, want)
	}
}

// TestWorseExit follows the order of badness: 2, then 1, then 3, then 0.
func TestWorseExit(t *testing.T) {
	for _, tt := range []struct{ a, b, want int }{
		{exitFits, exitUnsure, exitUnsure}, {exitUnsure, exitOver, exitOver}, {exitOver, exitWrong, exitWrong},
		{exitWrong, exitUnsure, exitWrong}, {exitFits, exitFits, exitFits},
	} {
		if got := worse(tt.a, tt.b); got != tt.want {
			t.Errorf("of the statuses %d and %d the worse is %d, want %d", tt.a, tt.b, got, tt.want)
		}
	}
}
