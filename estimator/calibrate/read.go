package calibrate

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
	"elbowroom/estimator"
)

// Limits of what is kept of the readings, however many rows there are.
const (
	maxRow     = 64 << 10 // bytes of one row
	maxSpots   = 4096
	maxSizes   = 64     // block sizes that the graphs are estimated at
	maxTold    = 20     // mistakes, after which reading stops
	maxPassed  = 10_000 // rows like one that was told, after which reading stops
	keptOfSpot = 256
)

// wholeGraph stands in place of a node's name for the whole block of time.
const wholeGraph = "(all)"

// warmUp is the word for a reading taken before the caches are warm.
const warmUp = "warm-up"

// Columns of the readings.
const (
	colGraph      = "graph"
	colNode       = "node"
	colBlock      = "block"
	colCycles     = "cycles"
	colTime       = "microseconds"
	colBlockSize  = "block_size"
	colRun        = "run"
	colConditions = "conditions"
)

var columns = []string{colGraph, colNode, colBlock, colCycles, colTime, colBlockSize, colRun, colConditions}

// spotKey is what is read in one place: a node of a graph at a block size.
type spotKey struct {
	graph, node int // node -1: the whole block of time
	size        int
	conditions  string
}

// Spot is what the readings of one node at one block size come to.
type Spot struct {
	Graph, Node, BlockSize int // Node -1: the whole block of time
	Conditions             string
	Line                   int // of the first reading

	sums  sums
	first sums // the first reading of each run
	run   string
	kept  []float64 // some of the readings, each as likely as the other
	seen  int
}

// sums are the count, the mean and the sum of squares about it.
type sums struct {
	n        int
	mean, m2 float64
}

func (s *sums) add(v float64) {
	s.n++
	d := v - s.mean
	s.mean += d / float64(s.n)
	s.m2 += d * (v - s.mean)
}

// with is two sets of readings together.
func (s sums) with(t sums) sums {
	n := s.n + t.n
	if n == 0 {
		return s
	}
	d := t.mean - s.mean
	a, b := float64(s.n), float64(t.n)
	return sums{n, s.mean + d*b/(a+b), s.m2 + t.m2 + d*d*a*b/(a+b)}
}

// Readings are all rows of a file, put together by what they were read of.
type Readings struct {
	Rows     int
	WarmedUp int  // rows that were left out because they say so themselves
	Timed    bool // in microseconds, not in cycles
	Spots    []*Spot

	index map[spotKey]*Spot
	dice  uint64
}

// reader reads a file of readings.
type reader struct {
	graphs  []*estimator.Graph
	name    string
	tape    *tape
	csv     *csv.Reader
	column  map[string]int // of the header
	line    int            // of the row read last
	errs    source.Errors
	out     *Readings
	sizes   map[int]bool
	nodes   map[[3]string][2]int // graph, node and block as they are written
	refused map[[3]string]bool
	passed  int // rows that are like one of refused
}

// Read reads the readings of graphs from comma-separated values, at any length
// in bounded memory. The error holds all mistakes, with their places.
func Read(name string, text io.Reader, graphs []*estimator.Graph) (*Readings, error) {
	t := &tape{from: text}
	r := &reader{
		graphs: graphs, name: name, tape: t, csv: csv.NewReader(t), column: map[string]int{},
		out:   &Readings{index: map[spotKey]*Spot{}, dice: 1},
		sizes: map[int]bool{}, nodes: map[[3]string][2]int{}, refused: map[[3]string]bool{},
	}
	r.csv.ReuseRecord = true
	r.csv.Comment = '#'
	r.csv.TrimLeadingSpace = true
	err := r.rows()
	if r.errs.Len() > 0 {
		return nil, r.errs.Err()
	}
	return r.out, err
}

// rows reads the header and every row.
func (r *reader) rows() error {
	header, err := r.csv.Read()
	if errors.Is(err, io.EOF) {
		r.fail(0, 0, "'elbowroom calibrate --explain' prints what it should hold", "the file is empty")
		return nil
	}
	if err != nil {
		return r.broken(err)
	}
	r.line, _ = r.csv.FieldPos(0)
	if !r.header(header) {
		return nil
	}
	for r.errs.Len() < maxTold && r.passed < maxPassed {
		r.tape.forget(r.csv.InputOffset())
		row, err := r.csv.Read()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return r.broken(err)
		}
		r.line, _ = r.csv.FieldPos(0)
		r.row(row)
	}
	return nil
}

// broken tells what the CSV reader could not read; an error of the file itself
// it returns.
func (r *reader) broken(err error) error {
	var wrong *csv.ParseError
	switch {
	case errors.Is(err, errLong):
		r.fail(r.line, 0, "is a quotation mark not closed?", "after this line a row begins that is longer than the %v that are read", blocks.Bytes(maxRow))
	case !errors.As(err, &wrong):
		return err
	case errors.Is(wrong.Err, csv.ErrFieldCount):
		r.failHere(wrong.Line, 1, "", "the row has not as many values as the %d columns of the header", len(r.column))
	default:
		r.failHere(wrong.Line, wrong.Column, "", "not readable as comma-separated values: %v", wrong.Err)
	}
	return nil
}

// header learns the columns.
func (r *reader) header(names []string) bool {
	for i, text := range names {
		name := strings.ToLower(strings.TrimSpace(strings.TrimPrefix(text, "\ufeff")))
		switch {
		case len(names) == 1 && strings.ContainsAny(name, ";\t"):
			r.failAt(i, 0, "", "the values are separated by commas, not by '%s'", strings.TrimSpace(string(name[strings.IndexAny(name, ";\t")])))
			return false
		case name == "us" || name == "µs":
			name = colTime
		}
		if !slices.Contains(columns, name) {
			hint := source.DidYouMean(name, columns)
			if hint == "" {
				hint = "columns are " + strings.Join(columns, ", ")
			}
			r.failAt(i, 0, hint, "there is no column '%s'", clip(name))
			continue
		}
		if _, twice := r.column[name]; twice {
			r.failAt(i, 0, "", "the column '%s' stands twice", name)
		}
		r.column[name] = i
	}
	if r.errs.Len() > 0 {
		return false
	}
	has := func(name string) bool { _, ok := r.column[name]; return ok }
	end := len(names) - 1
	missing := func(hint, format string, args ...any) { r.failAt(end, 0, hint, format, args...) }
	if !has(colNode) && !has(colBlock) {
		missing("'elbowroom calibrate --explain' prints the format", "the column 'node' is missing")
	}
	if has(colCycles) && has(colTime) {
		r.failAt(r.column[colTime], 0, "keep one of the two", "the readings are in cycles and in microseconds")
	} else if !has(colCycles) && !has(colTime) {
		missing("name the column of the readings 'cycles' or 'microseconds'", "the column 'cycles' is missing")
	}
	if !has(colBlockSize) {
		missing("write the block size that was timed beside each reading", "the column 'block_size' is missing")
	}
	r.out.Timed = has(colTime)
	return r.errs.Len() == 0
}

// row adds one row.
func (r *reader) row(row []string) {
	r.out.Rows++
	value := func(name string) (string, int) {
		if i, ok := r.column[name]; ok {
			return strings.TrimSpace(row[i]), i
		}
		return "", -1
	}
	conditions, _ := value(colConditions)
	if conditions == warmUp {
		r.out.WarmedUp++
		return
	}
	unit := colCycles
	text, at := value(colCycles)
	if at < 0 {
		unit = colTime
		text, at = value(colTime)
	}
	reading, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsInf(reading, 0) || math.IsNaN(reading) {
		hint := "write a plain number, like 1432.5"
		if number := strings.TrimRight(text, "abcdefghijklmnopqrstuvwxyzµABCDEFGHIJKLMNOPQRSTUVWXYZ "); number != text && number != "" {
			hint = "the column's name tells the unit; write the number alone"
		}
		r.failAt(at, 0, hint, "'%s' is no number of %s", clip(text), unit)
		return
	}
	if reading <= 0 {
		r.failAt(at, 0, "", "a reading is above 0, and this is %s", clip(text))
		return
	}
	if unit == colCycles && reading >= 1<<31 {
		r.failAt(at, 0, "subtract the two readings of the counter as unsigned 32 bits", "%s cycles are more than half of what the counter holds: it wrapped round", clip(text))
		return
	}
	sizeText, sizeAt := value(colBlockSize)
	size, err := strconv.Atoi(sizeText)
	if err != nil || size < 1 || size > estimator.MaxBlockSize {
		r.failAt(sizeAt, 0, "", "'%s' is no block size from 1 to %d samples", clip(sizeText), estimator.MaxBlockSize)
		return
	}
	if !r.sizes[size] && len(r.sizes) == maxSizes {
		r.failAt(sizeAt, 0, "", "this is the block size number %d, and at most %d are taken together", maxSizes+1, maxSizes)
		return
	}
	r.sizes[size] = true
	graph, node, ok := r.timed(value)
	if !ok {
		return
	}
	if unit == colTime {
		reading *= float64(r.graphs[graph].Board.Clock) / 1e6
	}
	run, _ := value(colRun)
	r.add(spotKey{graph, node, size, conditions}, run, reading)
}

// add adds a reading to what was read in its place.
func (r *reader) add(key spotKey, run string, reading float64) {
	s := r.out.index[key]
	if s == nil {
		line, _ := r.csv.FieldPos(0)
		if len(r.out.index) == maxSpots {
			r.failAt(0, 0, "", "this is the node, block size and conditions number %d, and at most %d are taken together", maxSpots+1, maxSpots)
			return
		}
		key.conditions = strings.Clone(key.conditions)
		s = &Spot{Graph: key.graph, Node: key.node, BlockSize: key.size, Conditions: key.conditions, Line: line}
		r.out.index[key] = s
		r.out.Spots = append(r.out.Spots, s)
	}
	if s.seen == 0 || run != s.run {
		s.run = strings.Clone(run)
		s.first.add(reading)
		s.seen++
		return
	}
	s.sums.add(reading)
	s.seen++
	if len(s.kept) < keptOfSpot {
		s.kept = append(s.kept, reading)
		return
	}
	// A multiplicative generator is random enough to choose which are kept, and
	// chooses the same each time.
	r.out.dice = r.out.dice*6364136223846793005 + 1442695040888963407
	if k := int((r.out.dice >> 33) % uint64(s.seen)); k < keptOfSpot {
		s.kept[k] = reading
	}
}

// timed finds the node that a row was read of.
func (r *reader) timed(value func(string) (string, int)) (graph, node int, ok bool) {
	graphText, graphAt := value(colGraph)
	nodeText, nodeAt := value(colNode)
	blockText, blockAt := value(colBlock)
	key := [3]string{graphText, nodeText, blockText}
	if found, known := r.nodes[key]; known {
		return found[0], found[1], true
	}
	at := nodeAt
	if at < 0 || nodeText == "" {
		at = blockAt
	}
	if r.refused[key] { // it was told
		r.passed++
		return 0, 0, false
	}
	refuse := func(at int, hint, format string, args ...any) (int, int, bool) {
		if len(r.refused) < maxTold {
			r.refused[clone(key)] = true
		}
		r.failAt(max(at, 0), 0, hint, format, args...)
		return 0, 0, false
	}
	var names []string
	var among []int // graphs that may be meant
	for i, g := range r.graphs {
		names = append(names, g.File.Name)
		if graphText == "" || graphText == g.File.Name {
			among = append(among, i)
		}
	}
	if len(among) == 0 {
		return refuse(graphAt, source.DidYouMean(graphText, names), "the graph '%s' was not named with the command", clip(graphText))
	}
	if nodeText == "" && blockText == "" {
		return refuse(at, "", "the row does not say what was timed")
	}
	var found [][2]int
	var known []string
	for _, i := range among {
		g := r.graphs[i]
		if nodeText == wholeGraph {
			if len(g.Scenes) > 0 {
				return refuse(at, "time its nodes", "%s has scenes, and '%s' does not say which of them played", g.File.Name, wholeGraph)
			}
			found = append(found, [2]int{i, -1})
			continue
		}
		for k, n := range g.Nodes {
			known = append(known, n.Name)
			if nodeText != "" && n.Name == nodeText && (blockText == "" || n.Block().Name == blockText) || nodeText == "" && n.Block().Name == blockText {
				found = append(found, [2]int{i, k})
			}
		}
	}
	switch {
	case len(found) == 0 && nodeText != "" && blockText != "" && slices.Contains(known, nodeText):
		return refuse(blockAt, "", "the node '%s' is no %s", clip(nodeText), clip(blockText))
	case len(found) == 0 && nodeText != "":
		return refuse(nodeAt, source.DidYouMean(nodeText, known), "no graph has a node '%s'", clip(nodeText))
	case len(found) == 0:
		return refuse(blockAt, "", "no node of the graph is a %s", clip(blockText))
	case len(found) > 1 && nodeText == "":
		return refuse(blockAt, "name the node in a column 'node'", "%d nodes are a %s", len(found), clip(blockText))
	case len(found) > 1:
		return refuse(nodeAt, "name the graph's file in a column 'graph'", "%d of the graphs have a node '%s'", len(found), clip(nodeText))
	}
	if len(r.nodes) < maxSpots {
		r.nodes[clone(key)] = found[0]
	}
	return found[0][0], found[0][1], true
}

// clone keeps what the reader will write over.
func clone(key [3]string) [3]string {
	for i := range key {
		key[i] = strings.Clone(key[i])
	}
	return key
}

// failAt records a mistake some bytes into a field of the row being read.
func (r *reader) failAt(field, offset int, hint, format string, args ...any) {
	line, column := r.csv.FieldPos(field)
	r.failHere(line, column+offset, hint, format, args...)
}

// failHere records a mistake at a column in bytes, from 1.
func (r *reader) failHere(line, column int, hint, format string, args ...any) {
	text := r.tape.line()
	before := text[:min(max(column-1, 0), len(text))]
	r.errs.Add(&source.Error{
		File: source.Excerpt(r.name, line, text), Pos: source.Pos{Line: line, Column: utf8.RuneCountInString(before) + 1},
		Message: fmt.Sprintf(format, args...), Hint: hint,
	})
}

// fail records a mistake of the file as a whole, or of a line that is not held.
func (r *reader) fail(line, column int, hint, format string, args ...any) {
	r.errs.Add(&source.Error{
		File: source.NewFile(r.name, nil), Pos: source.Pos{Line: line, Column: column},
		Message: fmt.Sprintf(format, args...), Hint: hint,
	})
}

// clip shortens text that a message quotes.
func clip(text string) string {
	if runes := []rune(text); len(runes) > 40 {
		return string(runes[:40]) + "..."
	}
	return text
}
