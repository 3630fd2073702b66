package calibrate

import (
	"errors"
	"fmt"
	"io"
	"os"
	"runtime"
	"strings"
	"testing"

	"elbowroom/blocks/source"
)

// What is wrong with readings is told with its line, its column and a caret.
func TestReadMistakes(t *testing.T) {
	g := graphOf(t, show)
	for _, tt := range []struct{ name, text, want, hint string }{
		{"nothing", "", "times.csv: the file is empty", "--explain"},
		{"no node", "cycles,block_size\n9,48\n", "times.csv:1:8: the column 'node' is missing", "--explain"},
		{"no reading", "node,block_size\ncave,48\n", "times.csv:1:6: the column 'cycles' is missing", "'microseconds'"},
		{"no block size", "node,cycles\ncave,48\n", "times.csv:1:6: the column 'block_size' is missing", "beside each reading"},
		{"two units", "node,cycles,us,block_size\ncave,9,9,48\n", "times.csv:1:13: the readings are in cycles and in microseconds", "one of the two"},
		{"an unknown column", "node,cycels,block_size\n", "times.csv:1:6: there is no column 'cycels'", "'cycles'"},
		{"a column twice", "node,cycles,cycles,block_size\n", "times.csv:1:13: the column 'cycles' stands twice", ""},
		{"semicolons", "node;cycles;block_size\ncave;9;48\n", "times.csv:1:1: the values are separated by commas, not by ';'", ""},
		{"a word", "node,cycles,block_size\ncave,fast,48\n", "times.csv:2:6: 'fast' is no number of cycles", "plain number"},
		{"a unit in a value", "node,cycles,block_size\ncave,12 us,48\n", "times.csv:2:6: '12 us' is no number of cycles", "number alone"},
		{"not a number", "node,cycles,block_size\ncave,NaN,48\n", "times.csv:2:6: 'NaN' is no number of cycles", ""},
		{"below zero", "node,cycles,block_size\ncave,-3,48\n", "times.csv:2:6: a reading is above 0, and this is -3", ""},
		{"wrapped", "node,cycles,block_size\ncave,4294967000,48\n", "it wrapped round", "unsigned 32 bits"},
		{"a size", "node,cycles,block_size\ncave,9,0\n", "times.csv:2:8: '0' is no block size from 1 to 8192 samples", ""},
		{"a stranger", "node,cycles,block_size\ncaev,9,48\n", "times.csv:2:1: no graph has a node 'caev'", "'cave'"},
		{"an accent before", "run,node,cycles,block_size\né,caev,9,48\n", "times.csv:2:3: no graph has a node 'caev'", "'cave'"},
		{"several of a block", "block,cycles,block_size\nnoise,9,48\n", "times.csv:2:1: 2 nodes are a noise", "column 'node'"},
		{"no such block", "block,cycles,block_size\nchorus,9,48\n", "times.csv:2:1: no node of the graph is a chorus", ""},
		{"another block", "node,block,cycles,block_size\ncave,noise,9,48\n", "times.csv:2:6: the node 'cave' is no noise", ""},
		{"no name", "node,cycles,block_size\n,9,48\n", "times.csv:2:1: the row does not say what was timed", ""},
		{"a graph", "graph,node,cycles,block_size\nsow.yaml,cave,9,48\n", "times.csv:2:1: the graph 'sow.yaml' was not named", "'show.yaml'"},
		{"a short row", "node,cycles,block_size\n# a remark\n\ncave,9\n", "times.csv:4:1: the row has not as many values as the 3 columns", ""},
		{"a quote", "node,cycles,block_size\nca\"ve,9,48\n", "times.csv:2:3: not readable as comma-separated values", ""},
		{"an open quote", "node,cycles,block_size\n\"cave,9,48\n" + strings.Repeat("cave,9,48\n", 20000), "a row begins that is longer", "not closed"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := Read("times.csv", strings.NewReader(tt.text), graphsOf(g))
			var mistakes *source.Errors
			if !errors.As(err, &mistakes) {
				t.Fatalf("the mistake is not told with a place: %v", err)
			}
			text := mistakes.Error()
			if !strings.Contains(text, tt.want) {
				t.Errorf("the message should hold %q:\n%s", tt.want, text)
			}
			if tt.hint != "" && !strings.Contains(text, tt.hint) {
				t.Errorf("a hint should hold %q:\n%s", tt.hint, text)
			}
		})
	}
}

// The caret stands under what is wrong, in a line of which nothing else is held.
func TestReadCaret(t *testing.T) {
	g := graphOf(t, show)
	text := "node,cycles,block_size\n" + strings.Repeat("cave,9000,48\n", 30000) + "cave,fast,48\n"
	_, err := Read("times.csv", strings.NewReader(text), graphsOf(g))
	if want := "30002 | cave,fast,48\n      |      ^"; err == nil || !strings.Contains(err.Error(), want) {
		t.Errorf("the message should show\n%s\nand shows\n%v", want, err)
	}
}

// Many mistakes do not fill the memory or the screen.
func TestReadStopsAtManyMistakes(t *testing.T) {
	g := graphOf(t, show)
	rows := &endless{row: "nobody,%d,48\n", rows: 10_000_000}
	_, err := Read("times.csv", io.MultiReader(strings.NewReader("node,cycles,block_size\n"), rows), graphsOf(g))
	var mistakes *source.Errors
	if !errors.As(err, &mistakes) || mistakes.Len() > maxTold {
		t.Errorf("ten million wrong rows give %v, want at most %d mistakes", err, maxTold)
	}
	if read := 10_000_000 - rows.rows; read > 3*maxPassed {
		t.Errorf("%d wrong rows of one kind are read, want no more than about %d", read, maxPassed)
	}
}

// Rows are put together by node and block size: their means are those of the
// rows, and the first of each run stands apart.
func TestReadSums(t *testing.T) {
	g := graphOf(t, show)
	r := readingsOf(t, "\ufeffnode,us,block_size,run,conditions\n"+
		"cave,10,48,1,\ncave,12,48,1,\ncave,14,48,2,\ncave,16,48,2,\ncave,99,48,2,warm-up\necho,1,16,1,\n(all),30,48,1,\n", g)
	if r.Rows != 7 || r.WarmedUp != 1 || len(r.Spots) != 3 {
		t.Fatalf("%d rows, %d of a warm-up, %d places; want 7, 1 and 3", r.Rows, r.WarmedUp, len(r.Spots))
	}
	// The board's clock is 168 MHz, so that a microsecond is 168 cycles.
	if s := r.Spots[0]; s.first.n != 2 || s.first.mean != 12*168 || s.sums.n != 2 || s.sums.mean != 14*168 {
		t.Errorf("the first readings are %d with the mean %g, the others %d with %g; want 2 with 2016 and 2 with 2352", s.first.n, s.first.mean, s.sums.n, s.sums.mean)
	}
	if s := r.Spots[2]; s.Node != -1 {
		t.Errorf("(all) is taken for node %d", s.Node)
	}
}

// endless gives rows without holding them.
type endless struct {
	row  string
	rows int
	rest string
}

func (e *endless) Read(p []byte) (int, error) {
	if e.rest == "" {
		if e.rows == 0 {
			return 0, io.EOF
		}
		e.rows--
		e.rest = fmt.Sprintf(e.row, 9000+e.rows%100)
	}
	n := copy(p, e.rest)
	e.rest = e.rest[n:]
	return n, nil
}

// However many rows there are, what is kept does not grow: up to ten million, which
// take some ten seconds, where all is asked for.
func TestReadIsBounded(t *testing.T) {
	g := graphOf(t, show)
	held := func(rows int) uint64 {
		r, err := Read("times.csv", io.MultiReader(strings.NewReader("node,cycles,block_size\n"), &endless{row: "cave,%d,48\n", rows: rows}), graphsOf(g))
		if err != nil {
			t.Fatal(err)
		}
		if r.Rows != rows {
			t.Fatalf("%d rows were read of %d", r.Rows, rows)
		}
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		runtime.KeepAlive(r)
		return m.HeapAlloc
	}
	rows := 300_000
	if os.Getenv("ELBOWROOM_TOOLS") == "required" {
		rows = 10_000_000
	}
	if few, many := held(1000), held(rows); many > few+1<<20 {
		t.Errorf("%d rows hold %d bytes, and 1,000 hold %d", rows, many, few)
	}
}

func FuzzRead(f *testing.F) {
	g := graphOf(f, show)
	for _, text := range []string{
		"node,cycles,block_size\ncave,9000,48\n", "node,us,block_size,run\n\"ca\"\"ve\",1e3,16,x\n", "block;cycles\n", "\"", "node,cycles,block_size\n\"cave\n,9,48",
	} {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		r, err := Read("times.csv", strings.NewReader(string(text)), graphsOf(g))
		if (r == nil) == (err == nil) {
			t.Fatalf("there are readings %v and the error %v, want one of the two", r, err)
		}
		if err != nil {
			if err.Error() == "" {
				t.Fatal("an error says nothing")
			}
			return
		}
		seen := 0
		for _, s := range r.Spots {
			seen += s.seen
		}
		if seen+r.WarmedUp != r.Rows {
			t.Fatalf("%d rows come to %d readings and %d of a warm-up", r.Rows, seen, r.WarmedUp)
		}
	})
}

func BenchmarkRead(b *testing.B) {
	g := graphOf(b, show)
	if _, err := Read("times.csv", io.MultiReader(strings.NewReader("node,cycles,block_size\n"), &endless{row: "cave,%d,48\n", rows: b.N}), graphsOf(g)); err != nil && b.N > 0 {
		b.Fatal(err)
	}
}
