package main

import (
	"bytes"
	"cmp"
	"fmt"
	"html/template"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"github.com/spf13/cobra"

	"elbowroom/blocks"
)

// plotFlag lets a command draw its answer.
func plotFlag(cmd *cobra.Command) *string {
	return cmd.Flags().String("plot", "", "draw the answer too, into this `file`: .svg, or .html with the tables below")
}

// picture is an answer as it is drawn.
type picture struct {
	title, sentence string
	charts          []chart
	tables          document // the same figures
}

// plotPermissions are those of a file that anybody may look at.
const plotPermissions = 0o644

// plot draws an answer into a file; no name draws nothing.
func plot(name string, p picture) error {
	if name == "" {
		return nil
	}
	var b bytes.Buffer
	var err error
	switch filepath.Ext(name) {
	case ".svg":
		err = svg(&b, "", p.title, p.sentence, p.charts)
	case ".html":
		err = p.page(&b)
	default:
		return hinted{fmt.Errorf("--plot: '%s' names no kind of picture", name), "end it with .svg or .html"}
	}
	if err != nil {
		return err
	}
	if err := writeFile(name, b.Bytes(), plotPermissions); err != nil {
		return fmt.Errorf("--plot: %w", err)
	}
	return nil
}

// page is a page that needs nothing else: the picture, and its figures as
// tables.
func (p *picture) page(b *bytes.Buffer) error {
	var drawn strings.Builder
	if err := svg(&drawn, "", p.title, p.sentence, p.charts); err != nil {
		return err
	}
	var tables []any
	for _, s := range p.tables {
		if s.table != nil {
			tables = append(tables, map[string]any{"Title": s.title, "After": s.after, "Header": s.table.header, "Rows": s.table.rows})
		}
	}
	return plotPage().Execute(b, map[string]any{
		"Title": p.title, "Sentence": p.sentence, "Picture": template.HTML(drawn.String()), "Tables": tables, // the picture has escaped its words
	})
}

// plotPage is parsed when it is first needed, which most runs never do.
var plotPage = sync.OnceValue(func() *template.Template {
	return template.Must(template.New("plot").Parse(plotText))
})

const plotText = `<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width">
<title>{{.Title}}</title>
<style>
body { font-family: sans-serif; max-width: 50rem; margin: 2rem auto; padding: 0 1rem; color: #000; background: #fff; }
svg { width: 100%; height: auto; }
table { border-collapse: collapse; margin: 0.5rem 0 1.5rem; font-size: 0.9rem; font-variant-numeric: tabular-nums; }
th, td { text-align: right; padding: 0.15rem 0.6rem; border-bottom: 1px solid #ccc; white-space: nowrap; }
th:first-child, td:first-child { text-align: left; }
section { overflow-x: auto; }
tr { break-inside: avoid; }
h2 { break-after: avoid; }
@media print { body { margin: 0 auto; } h1 { font-size: 1.4rem; } svg { max-height: 78vh; } section { overflow-x: visible; } }
</style>
</head>
<body>
<h1>{{.Title}}</h1>
<p>{{.Sentence}}</p>
{{.Picture}}
{{range .Tables}}<section>
{{with .Title}}<h2>{{.}}</h2>
{{end}}<table>
<thead><tr>{{range .Header}}<th scope="col">{{.}}</th>{{end}}</tr></thead>
<tbody>
{{range .Rows}}<tr>{{range .}}<td>{{.}}</td>{{end}}</tr>
{{end}}</tbody>
</table>
{{with .After}}<p>{{.}}</p>
{{end}}</section>
{{end}}</body>
</html>
`

// picture draws the sweep: load, latency and memory over the axis that has more
// values, a line for each value of the other. Shapes are verdicts.
func (r *SweepReport) picture() picture {
	along, other := 0, -1
	if len(r.Axes) == 2 {
		other = 1
		if len(r.Axes[1].Values) > len(r.Axes[0].Values) {
			along, other = 1, 0
		}
	}
	values := r.Axes[along].Values
	x := axis{label: r.Axes[along].Parameter, say: func(v float64) string { return r.units[along].Rounded(v) }, log: wide(values)}
	lines := func(of func(*Setting) float64) []line {
		var list []line
		count := 1
		if other >= 0 {
			count = len(r.Axes[other].Values)
		}
		for k := range count {
			l := line{ramp: -1}
			if other >= 0 {
				l.name = r.units[other].Rounded(r.Axes[other].Values[k])
				if k == 0 {
					l.name = r.Axes[other].Parameter + " " + l.name
				}
				if count > len(colours) {
					l.ramp = float64(k) / float64(count-1)
				}
			}
			for i := range r.Settings {
				s := &r.Settings[i]
				if s.Refusal != "" || other >= 0 && s.At[other] != r.Axes[other].Values[k] {
					continue
				}
				l.points = append(l.points, dot{x: s.At[along], y: of(s), shape: verdictShapes[s.Verdict]})
			}
			list = append(list, l)
		}
		return list
	}
	share := axis{label: "share", say: func(v float64) string { return fmt.Sprintf("%.3g %%", v*100) }}
	charts := []chart{{
		title: "Worst block, at most, of its cycles (disc fits, triangle tight, diamond unsure, cross over)", x: x, y: share,
		lines: lines(func(s *Setting) float64 { return s.Load.High }), marks: []level{{1, "all cycles"}},
	}}
	if r.To != "" {
		charts = append(charts, chart{
			title: fmt.Sprintf("Latency from %s to %s", r.From, r.To), x: x,
			y:     axis{label: "latency", say: func(v float64) string { return blocks.Seconds(v).String() }},
			lines: lines(func(s *Setting) float64 { return s.Latency }), marks: []level{{0.010, "10 ms: as if none"}},
		})
	}
	charts = append(charts, chart{
		title: "Scarcest memory, at most", x: x, y: share,
		lines: lines(func(s *Setting) float64 { return s.Share }), marks: []level{{1, "all of it"}},
	})
	return picture{title: fmt.Sprintf("%s on %s", r.File, r.Board), sentence: capital(r.Sentence), charts: charts, tables: r.document()}
}

// longest marks the longest delay of a bank; banks of one size share a mark.
func (l *line) longest(of Longest) {
	for i := range l.points {
		if p := &l.points[i]; p.shape == square && p.x == of.Seconds {
			p.label = of.Bank + ", " + p.label
			return
		}
	}
	l.points = append(l.points, dot{x: of.Seconds, y: float64(of.Bytes), shape: square, label: of.Bank})
}

// capital is a sentence as it stands on its own.
func capital(sentence string) string { return strings.ToUpper(sentence[:1]) + sentence[1:] + "." }

// wide tells whether values span so much that each step should be a factor.
func wide(values []float64) bool {
	low, high := math.Inf(1), 0.0
	for _, v := range values {
		low, high = min(low, v), max(high, v)
	}
	const factor = 10
	return low > 0 && high > factor*low
}

// picture draws the delays: bytes over length, a line for each way to keep them,
// discs for the lengths that were asked about and squares for the longest of
// each bank.
func (r *DelaysReport) picture() picture {
	var ways []Kept
	for _, l := range r.Longest {
		if len(ways) == 0 || ways[len(ways)-1] != l.Kept {
			ways = append(ways, l.Kept)
		}
	}
	c := chart{
		title: "Bytes of a delay by its length (discs: asked about; squares: the longest of a bank)",
		x:     axis{label: "length", say: func(v float64) string { return blocks.Seconds(v).String() }, log: true},
		y:     axis{label: "bytes", say: func(v float64) string { return blocks.Bytes(v).Up() }, log: true, binary: true},
	}
	for _, way := range ways {
		l := line{name: fmt.Sprintf("%s, %d ch, %s", way.Format, way.Channels, blocks.Hertz(way.Rate)), ramp: -1}
		for _, h := range r.Lengths {
			if h.Kept == way && h.Bytes > 0 {
				l.points = append(l.points, dot{x: h.Seconds, y: float64(h.Bytes), shape: disc})
			}
		}
		for _, longest := range r.Longest {
			if longest.Kept == way && longest.Bytes > 0 {
				l.longest(longest)
			}
		}
		slices.SortStableFunc(l.points, func(a, b dot) int { return cmp.Compare(a.x, b.x) })
		c.lines = append(c.lines, l)
	}
	title := "Delays on " + r.Board
	if r.File != "" {
		title += " beside " + r.File
	}
	return picture{title: title, sentence: capital(r.Sentence), charts: []chart{c}, tables: r.document()}
}
