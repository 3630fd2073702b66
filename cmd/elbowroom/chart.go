package main

import (
	"fmt"
	"html"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
)

// chart is a picture of lines over one horizontal axis, drawn as SVG that needs
// nothing else: no script, no font, no file.
//
// Lines are told apart by dashes and by a label at their end as well as by
// colour, and points by their shape, so that a print in grey reads as well. A
// library that draws axes was left out for its weight: the one at hand adds
// half again to the program (gonum/plot, 6.7 MB), for what is a page of code.
type chart struct {
	title string
	x, y  axis
	lines []line
	marks []level // across the whole picture
}

// axis is what a side of the picture measures.
type axis struct {
	label  string
	say    func(float64) string // prints a value
	log    bool                 // each step is a factor
	binary bool                 // which is a power of two
}

// line is points that belong together.
type line struct {
	name   string
	points []dot
	ramp   float64 // 0 to 1: one of many, coloured by its place; below 0: it has a colour of its own
}

// dot is a point and how it is marked.
type dot struct {
	x, y  float64
	shape shape
	label string // beside it; "": none
}

// level is a value that is worth a line across the picture.
type level struct {
	y    float64
	name string
}

// shape is how a point is marked.
type shape string

// Shapes for the verdicts, and one for a point that has none.
const (
	disc     shape = "disc"
	triangle shape = "triangle"
	diamond  shape = "diamond"
	cross    shape = "cross"
	square   shape = "square"
)

var verdictShapes = map[string]shape{"fits": disc, "tight": triangle, "unsure": diamond, "over": cross}

// colours that people with any kind of colour vision tell apart, after M. Okabe
// and K. Ito, Color Universal Design, 2008 (from memory), yellow left out for
// white paper; and the dashes beside them.
var (
	colours = []string{"#0072B2", "#D55E00", "#009E73", "#CC79A7", "#000000", "#E69F00", "#56B4E9"}
	dashes  = []string{"", "7 3", "2 3", "9 3 2 3", "1 3", "12 4", "4 4"}
)

// Measures of a picture in points.
const (
	chartWidth, chartHeight = 720, 300
	marginLeft, marginRight = 76, 150
	marginTop, marginBottom = 34, 48
	plotWidth               = chartWidth - marginLeft - marginRight
	plotHeight              = chartHeight - marginTop - marginBottom
)

// scale maps the values of an axis to the picture.
type scale struct {
	low, high   float64
	log, binary bool
}

// scaleOf is the scale that holds all values.
func (a axis) scaleOf(values []float64) scale {
	s := scale{slices.Min(values), slices.Max(values), a.log, a.binary}
	switch {
	case a.log && s.low == s.high:
		s.low, s.high = s.low/2, s.high*2
	case a.log:
		s.high *= 1.2 // room for a label
	default:
		s.low = min(s.low, 0)
		if s.high += (s.high - s.low) * 0.06; s.high == s.low {
			s.high = s.low + 1
		}
	}
	return s
}

// share is where a value lies between the ends of the scale, from 0 to 1.
func (s scale) share(v float64) float64 {
	if s.log {
		return math.Log(v/s.low) / math.Log(s.high/s.low)
	}
	return (v - s.low) / (s.high - s.low)
}

// ticks are round values within the scale: steps of 1, 2 or 5, or where each
// step is a factor the powers of ten with as many between them as there is room
// for.
func (s scale) ticks() []float64 {
	const most = 8
	var list []float64
	if s.binary {
		for factor := 2.0; list == nil || len(list) > most; factor *= 2 {
			list = nil
			for v := 1.0; v <= s.high*(1+1e-9); v *= factor {
				if v >= s.low*(1-1e-9) {
					list = append(list, v)
				}
			}
			if len(list) == 0 {
				return nil
			}
		}
		return list
	}
	if s.log {
		for _, steps := range [][]float64{{1, 2, 5}, {1, 3}, {1}} {
			list = nil
			for power := math.Floor(math.Log10(s.low)); power <= math.Log10(s.high); power++ {
				for _, k := range steps {
					if v := k * math.Pow(10, power); v >= s.low*(1-1e-9) && v <= s.high*(1+1e-9) {
						list = append(list, v)
					}
				}
			}
			if len(list) <= most {
				break
			}
		}
		return list
	}
	step := math.Pow(10, math.Floor(math.Log10((s.high-s.low)/most)))
	for _, k := range []float64{1, 2, 5, 10} {
		if (s.high-s.low)/(step*k) <= most {
			step *= k
			break
		}
	}
	for i := math.Ceil(s.low / step); i*step <= s.high*(1+1e-9); i++ {
		list = append(list, i*step)
	}
	return list
}

// svg draws charts below each other, with a title and a description for those
// who do not see them, whose names within a page begin with a prefix.
func svg(w io.Writer, prefix, title, description string, charts []chart) error {
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" width="%d" font-family="sans-serif" font-size="12" role="img" aria-labelledby="%[4]st %[4]sd">`+"\n",
		chartWidth, chartHeight*len(charts), chartWidth, prefix)
	fmt.Fprintf(&b, "<title id=\"%[1]st\">%[2]s</title>\n<desc id=\"%[1]sd\">%[3]s</desc>\n", prefix, html.EscapeString(title), html.EscapeString(description))
	fmt.Fprintf(&b, "<rect width=\"100%%\" height=\"100%%\" fill=\"#ffffff\"/>\n")
	for i := range charts {
		fmt.Fprintf(&b, "<g transform=\"translate(0 %d)\">\n", i*chartHeight)
		charts[i].draw(&b)
		b.WriteString("</g>\n")
	}
	b.WriteString("</svg>\n")
	_, err := io.WriteString(w, b.String())
	return err
}

// draw draws the chart into a group of its own.
func (c *chart) draw(b *strings.Builder) {
	var xs, ys []float64
	for _, l := range c.lines {
		for _, p := range l.points {
			xs, ys = append(xs, p.x), append(ys, p.y)
		}
	}
	caption(b, marginLeft, 18, "start", `font-weight="bold" font-size="13"`, c.title)
	if len(xs) == 0 {
		caption(b, marginLeft, marginTop+20, "start", "", "nothing to draw")
		return
	}
	for _, m := range c.marks {
		// A level far above everything would flatten it.
		if m.y <= 3*slices.Max(ys) {
			ys = append(ys, m.y)
		}
	}
	across, upward := c.x.scaleOf(xs), c.y.scaleOf(ys)
	if !c.x.log {
		across = scale{low: slices.Min(xs), high: slices.Max(xs)}
		if across.low == across.high {
			across.low, across.high = across.low-1, across.high+1
		}
	}
	atX := func(v float64) float64 { return marginLeft + across.share(v)*plotWidth }
	atY := func(v float64) float64 { return marginTop + (1-upward.share(v))*plotHeight }
	for _, v := range upward.ticks() {
		stroke(b, marginLeft, atY(v), marginLeft+plotWidth, atY(v), "#dddddd", "")
		caption(b, marginLeft-6, atY(v)+4, "end", "", c.y.say(v))
	}
	for _, v := range across.ticks() {
		stroke(b, atX(v), marginTop, atX(v), marginTop+plotHeight, "#eeeeee", "")
		caption(b, atX(v), marginTop+plotHeight+16, "middle", "", c.x.say(v))
	}
	fmt.Fprintf(b, "<path d=\"M%d %dV%dH%d\" fill=\"none\" stroke=\"#000000\"/>\n", marginLeft, marginTop, marginTop+plotHeight, marginLeft+plotWidth)
	caption(b, marginLeft+plotWidth/2, chartHeight-12, "middle", "", c.x.label)
	fmt.Fprintf(b, "<text transform=\"translate(14 %d) rotate(-90)\" text-anchor=\"middle\">%s</text>\n", marginTop+plotHeight/2, html.EscapeString(c.y.label))
	var names []endLabel
	for _, m := range c.marks {
		if upward.share(m.y) <= 1 && upward.share(m.y) >= 0 {
			stroke(b, marginLeft, atY(m.y), marginLeft+plotWidth, atY(m.y), "#000000", "3 3")
			names = append(names, endLabel{atY(m.y), m.name, "#000000"})
		}
	}
	for i, l := range c.lines {
		colour, dash := colours[i%len(colours)], dashes[i%len(dashes)]
		if l.ramp >= 0 {
			colour, dash = rampColour(l.ramp), ""
		}
		var path strings.Builder
		for k, p := range l.points {
			fmt.Fprintf(&path, "%s%s %s", map[bool]string{true: "M", false: "L"}[k == 0], coordinate(atX(p.x)), coordinate(atY(p.y)))
		}
		fmt.Fprintf(b, "<path d=\"%s\" fill=\"none\" stroke=\"%s\" stroke-width=\"1.6\" stroke-dasharray=\"%s\"/>\n", path.String(), colour, dash)
		for _, p := range l.points {
			mark(b, atX(p.x), atY(p.y), p.shape, colour)
			if p.label != "" {
				x, y, anchor := atX(p.x)-6, atY(p.y)-6, "end"
				if x < marginLeft+60 { // no room before the axis
					x, y, anchor = x+12, y+18, "start"
				}
				caption(b, x, y, anchor, `font-size="11"`, p.label)
			}
		}
		if n := len(l.points); n > 0 && (l.ramp < 0 || i == 0 || i == len(c.lines)-1) {
			names = append(names, endLabel{atY(l.points[n-1].y), l.name, colour})
		}
	}
	spread(names)
	for _, n := range names {
		caption(b, marginLeft+plotWidth+8, n.y+4, "start", fmt.Sprintf(`fill="%s"`, n.colour), n.name)
	}
}

// endLabel is the name of a line at its right end.
type endLabel struct {
	y      float64
	name   string
	colour string
}

// spread moves names apart so that none covers another.
func spread(names []endLabel) {
	const apart = 14
	slices.SortStableFunc(names, func(a, b endLabel) int { return int(a.y*16) - int(b.y*16) })
	for i := 1; i < len(names); i++ {
		names[i].y = max(names[i].y, names[i-1].y+apart)
	}
	// What has been pushed out below comes back up.
	bottom := float64(marginTop + plotHeight + 8)
	for i := len(names) - 1; i >= 0; i-- {
		names[i].y = min(names[i].y, bottom)
		bottom = names[i].y - apart
	}
}

// rampColour goes from dark to light, so that the order of many lines shows in
// grey as well.
func rampColour(share float64) string {
	from, to := [3]float64{0, 32, 77}, [3]float64{230, 159, 0}
	var c [3]int
	for i := range c {
		c[i] = int(from[i] + (to[i]-from[i])*share)
	}
	return fmt.Sprintf("#%02x%02x%02x", c[0], c[1], c[2])
}

func coordinate(v float64) string { return strconv.FormatFloat(v, 'f', 1, 64) }

func caption(b *strings.Builder, x, y float64, anchor, style, s string) {
	fmt.Fprintf(b, "<text x=\"%s\" y=\"%s\" text-anchor=\"%s\" %s>%s</text>\n", coordinate(x), coordinate(y), anchor, style, html.EscapeString(printable(s)))
}

func stroke(b *strings.Builder, x1, y1, x2, y2 float64, colour, dash string) {
	fmt.Fprintf(b, "<line x1=\"%s\" y1=\"%s\" x2=\"%s\" y2=\"%s\" stroke=\"%s\" stroke-dasharray=\"%s\"/>\n",
		coordinate(x1), coordinate(y1), coordinate(x2), coordinate(y2), colour, dash)
}

// mark draws a point.
func mark(b *strings.Builder, x, y float64, s shape, colour string) {
	path := func(d string, fill string) {
		fmt.Fprintf(b, "<path transform=\"translate(%s %s)\" d=\"%s\" fill=\"%s\" stroke=\"%s\" stroke-width=\"1.6\"/>\n", coordinate(x), coordinate(y), d, fill, colour)
	}
	switch s {
	case triangle:
		path("M0 -4.5L4.5 3.5H-4.5Z", "#ffffff")
	case diamond:
		path("M0 -5L5 0L0 5L-5 0Z", "#ffffff")
	case cross:
		path("M-4 -4L4 4M-4 4L4 -4", "none")
	case square:
		path("M-4 -4H4V4H-4Z", "#ffffff")
	default:
		fmt.Fprintf(b, "<circle cx=\"%s\" cy=\"%s\" r=\"3.2\" fill=\"%s\"/>\n", coordinate(x), coordinate(y), colour)
	}
}
