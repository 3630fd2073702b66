package page

import (
	"fmt"
	"slices"
	"strings"

	"elbowroom/blocks"
	"elbowroom/estimator"
)

// drawing is the graph drawn by its wires, in pixels: what feeds a node stands
// to its left, and a wire that carries the block before runs back below.
type drawing struct {
	Width, Height int
	Boxes         []box
	Paths         []path
	TooMany       bool
}

type box struct {
	X, Y, Width, Height int
	Node                int
	Name, Block         string
	Title               string
}

type path struct {
	D        string
	Kind     string // audio, control, event, or back
	From, To int
}

// Measures of the drawing.
const (
	boxWidth, boxHeight = 138, 44
	columnGap, rowGap   = 46, 14
	margin              = 10
	mostDrawn           = 150 // nodes: more would be a tangle
)

// edge is a wire between two nodes.
type edge struct {
	from, to int
	kind     blocks.Kind
	carries  string
	back     bool
}

// edges are the wires of the graph. One is back where its reader runs before
// its writer.
func edges(e *estimator.Estimate) []edge {
	g := e.Graph
	at := make([]int, len(g.Nodes))
	for i := len(e.Schedule.Steps) - 1; i >= 0; i-- {
		at[e.Schedule.Steps[i].Node] = i
	}
	var list []edge
	add := func(s estimator.Source, to int, what string) {
		port := &g.Nodes[s.Node].Block().Outputs[s.Port]
		list = append(list, edge{s.Node, to, port.Kind, what, at[s.Node] >= at[to]})
	}
	for i, n := range g.Nodes {
		for _, in := range n.Inputs {
			for _, s := range in.Sources {
				add(s, i, in.Port.Name)
			}
		}
		for _, d := range n.Drives {
			add(d.Source, i, n.Block().Params[d.Param].Name)
		}
	}
	return list
}

var kindWords = map[blocks.Kind]string{blocks.Audio: "audio", blocks.Control: "control", blocks.Event: "event"}

// wires are the rows of the table beside the drawing.
func wires(e *estimator.Estimate) []wire {
	var list []wire
	for _, w := range edges(e) {
		row := wire{e.Graph.Nodes[w.from].Name, e.Graph.Nodes[w.to].Name, kindWords[w.kind] + " to " + w.carries, ""}
		if w.carries == "" {
			row.Carries = kindWords[w.kind]
		}
		if w.back {
			row.Remark = "closes a loop"
		}
		list = append(list, row)
	}
	return list
}

// draw puts the nodes into columns by the longest way from a source, and orders
// each column by where what feeds it and what it feeds stand.
func draw(e *estimator.Estimate) drawing {
	g := e.Graph
	if len(g.Nodes) > mostDrawn {
		return drawing{TooMany: true}
	}
	all := edges(e)
	columns := columnsOf(e, all)
	row := make([]float64, len(g.Nodes))
	settle(columns, all, row)
	tallest := 0
	for _, c := range columns {
		tallest = max(tallest, len(c))
	}
	d := drawing{Width: 2*margin + len(columns)*(boxWidth+columnGap) - columnGap}
	height := tallest*(boxHeight+rowGap) - rowGap
	place := make([]box, len(g.Nodes))
	for c, column := range columns {
		top := margin + (height-(len(column)*(boxHeight+rowGap)-rowGap))/2
		for k, i := range column {
			n := g.Nodes[i]
			name := n.Name
			if e.Nodes[i].Copies > 1 {
				name += fmt.Sprintf(" × %d", e.Nodes[i].Copies)
			}
			place[i] = box{
				X: margin + c*(boxWidth+columnGap), Y: top + k*(boxHeight+rowGap), Width: boxWidth, Height: boxHeight, Node: i,
				Name: shortened(name), Block: shortened(n.Block().Name), Title: name + ", " + n.Block().Title,
			}
		}
	}
	backs := 0
	for _, w := range all {
		from, to := place[w.from], place[w.to]
		x, y, u, v := from.X+boxWidth, from.Y+boxHeight/2, to.X, to.Y+boxHeight/2
		p := path{Kind: kindWords[w.kind], From: w.from, To: w.to}
		if w.back {
			backs++
			low := margin + height + 8*min(backs, 6)
			p.D = fmt.Sprintf("M%d %d C%d %d %d %d %d %d H%d C%d %d %d %d %d %d", x, y, x+30, y, x+30, low, x, low, u, u-30, low, u-30, v, u, v)
			p.Kind += " back"
		} else {
			bend := (u - x) / 2
			p.D = fmt.Sprintf("M%d %d C%d %d %d %d %d %d", x, y, x+bend, y, u-bend, v, u, v)
		}
		d.Paths = append(d.Paths, p)
	}
	d.Boxes = place
	d.Height = 2*margin + height
	if backs > 0 {
		d.Height += 56
	}
	return d
}

// columnsOf sorts the nodes into columns; each is as far left as what feeds it
// allows, and a source stands beside the first that it feeds.
func columnsOf(e *estimator.Estimate, all []edge) [][]int {
	n := len(e.Graph.Nodes)
	depth := make([]int, n)
	into, out := make([][]int, n), make([][]int, n)
	for _, w := range all {
		if !w.back {
			into[w.to], out[w.from] = append(into[w.to], w.from), append(out[w.from], w.to)
		}
	}
	deepest := 0
	for _, s := range e.Schedule.Steps {
		for _, from := range into[s.Node] {
			depth[s.Node] = max(depth[s.Node], depth[from]+1)
		}
		deepest = max(deepest, depth[s.Node])
	}
	for i := range n {
		if len(into[i]) == 0 && len(out[i]) > 0 {
			nearest := deepest
			for _, to := range out[i] {
				nearest = min(nearest, depth[to])
			}
			depth[i] = max(nearest-1, 0)
		}
	}
	columns := make([][]int, deepest+1)
	for i := range n {
		columns[depth[i]] = append(columns[depth[i]], i)
	}
	return columns
}

// sweeps is how often the columns are ordered anew, there and back.
const sweeps = 6

// settle orders each column by the mean row of its neighbours.
func settle(columns [][]int, all []edge, row []float64) {
	number := func(column []int) {
		for k, i := range column {
			row[i] = float64(k) - float64(len(column))/2
		}
	}
	for _, c := range columns {
		number(c)
	}
	for sweep := range sweeps {
		order := slices.Clone(columns)
		if sweep%2 == 1 {
			slices.Reverse(order)
		}
		for _, column := range order {
			pull := map[int]float64{}
			for _, i := range column {
				sum, links := 0.0, 0
				for _, w := range all {
					if w.to == i && w.from != i {
						sum, links = sum+row[w.from], links+1
					}
					if w.from == i && w.to != i {
						sum, links = sum+row[w.to], links+1
					}
				}
				pull[i] = row[i]
				if links > 0 {
					pull[i] = sum / float64(links)
				}
			}
			slices.SortStableFunc(column, func(a, b int) int {
				switch {
				case pull[a] < pull[b]:
					return -1
				case pull[a] > pull[b]:
					return 1
				}
				return 0
			})
			number(column)
		}
	}
}

// shortened is a name that fits into a box.
func shortened(name string) string {
	const most = 17
	if r := []rune(name); len(r) > most {
		return strings.TrimRight(string(r[:most-1]), ".-") + "…"
	}
	return name
}
