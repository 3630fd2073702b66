package main

import (
	"fmt"
	"math"
	"strings"
	"unicode"

	"elbowroom/blocks"
	"elbowroom/estimator"
)

// sentence is the verdict in words: which resource decides, and by how much.
func sentence(file string, e *estimator.Estimate) string {
	board := e.Graph.Board.Name
	switch e.Verdict {
	case estimator.Fits:
		return fmt.Sprintf("%s fits %s: %s", file, board, room(e))
	case estimator.Tight:
		return fmt.Sprintf("%s fits %s, but tightly: %s%s", file, board, standing(e.Decides()), alike(e))
	case estimator.Unsure:
		return fmt.Sprintf("nobody can tell yet whether %s fits %s: %s%s", file, board, standing(e.Decides()), alike(e))
	}
	return fmt.Sprintf("%s does not fit %s: %s%s", file, board, standing(e.Decides()), alike(e))
}

// room tells how much a graph that fits leaves free.
func room(e *estimator.Estimate) string {
	var fullest *estimator.Resource
	text := ""
	for i := range e.Resources {
		r := &e.Resources[i]
		switch {
		case r.Kind == estimator.CPUResource:
			text = fmt.Sprintf("the worst block takes %s of its cycles", percent(r.Used.Value, r.Limit))
			if r.Used.High > r.Used.Value {
				text += fmt.Sprintf(", at most %s", percent(r.Used.High, r.Limit))
			}
		case r.Kind == estimator.MemoryResource && (fullest == nil || r.Share() > fullest.Share()):
			fullest = r
		}
	}
	if fullest != nil {
		text += fmt.Sprintf(", and the fullest bank, %s, keeps %s of %s free",
			fullest.Name, blocks.Bytes(fullest.Headroom()).Down(), blocks.Bytes(fullest.Limit).Down())
	}
	return text
}

// standing tells how a resource that does not simply fit stands.
func standing(r *estimator.Resource) string {
	used, least, most, limit := amount(r.Kind, r.Used.Value), amount(r.Kind, r.Used.Low), amount(r.Kind, r.Used.High), limitOf(r)
	subject := r.Name + " needs"
	switch r.Kind {
	case estimator.CPUResource:
		subject = "the worst block takes"
	case estimator.JackResource:
		if r.Verdict == estimator.Over {
			return fmt.Sprintf("it takes %s %s and the board has %s", used, jacks(r.Name), limit)
		}
		return fmt.Sprintf("it takes %s %s and the board has %s by a plain default", used, jacks(r.Name), limit)
	}
	of := fmt.Sprintf("%s %s of %s", subject, used, limit)
	switch {
	case r.Verdict == estimator.Tight && r.Used.Value == r.Used.High:
		return fmt.Sprintf("%s, which leaves %s free where %s is to stay free", of, percent(r.Headroom(), r.Limit), blocks.Percent(r.Reserve))
	case r.Verdict == estimator.Tight:
		return fmt.Sprintf("%s, perhaps as much as %s, which leaves %s free where %s is to stay free",
			of, most, percent(r.Limit-r.Used.High, r.Limit), blocks.Percent(r.Reserve))
	case r.Rests != "":
		return of + ", but part of that is a plain default of the board"
	case r.Verdict == estimator.Unsure && r.Used.Value <= r.Limit:
		return fmt.Sprintf("%s, but perhaps as much as %s", of, most)
	case r.Verdict == estimator.Unsure:
		return fmt.Sprintf("%s, but perhaps as little as %s", of, least)
	}
	over, much := -r.Headroom(), "much"
	if r.Kind == estimator.CPUResource {
		over, much = up(r.Used.Value)-down(r.Limit), "many"
	}
	text := fmt.Sprintf("%s, %s too %s", of, amount(r.Kind, over), much)
	if r.Used.Low < r.Used.Value {
		text += fmt.Sprintf(" (at least %s)", amount(r.Kind, r.Used.Low-r.Limit))
	}
	return text
}

// jacks is the name of a jack or control for several of them.
func jacks(name string) string {
	kind, way, directed := strings.Cut(name, "_")
	if directed {
		return kind + " " + way + "puts"
	}
	return kind + "s"
}

// alike names the other resources that stand as the one that decides.
func alike(e *estimator.Estimate) string {
	decides := e.Decides()
	var names []string
	for i := range e.Resources {
		if r := &e.Resources[i]; r.Verdict == e.Verdict && r != decides {
			names = append(names, r.Name)
		}
	}
	switch len(names) {
	case 0:
		return ""
	case 1:
		return fmt.Sprintf("; %s is %s too%s", names[0], e.Verdict, allShort(e))
	}
	return fmt.Sprintf("; %s are %s too%s", strings.Join(names, ", "), e.Verdict, allShort(e))
}

// allShort tells how much room all banks lack, where several are over: which of
// them a buffer that finds no room is told of is of less weight.
func allShort(e *estimator.Estimate) string {
	over, short := 0, 0.0
	for i := range e.Resources {
		if r := &e.Resources[i]; r.Kind == estimator.MemoryResource && r.Verdict == estimator.Over {
			over, short = over+1, short-r.Headroom()
		}
	}
	if over < 2 {
		return ""
	}
	return fmt.Sprintf(", and the banks together are %s short", blocks.Bytes(short).Up())
}

// worth tells in one line what the figures are worth.
func worth(e *estimator.Estimate) string {
	core := e.Graph.Core
	counted, timed := false, false
	for i := range e.Nodes {
		counted = counted || e.Nodes[i].Basis == blocks.Counted
		timed = timed || e.Nodes[i].Basis == blocks.Emulated
	}
	code, compute := "within "+times(core.CodeBand)+" of the figure", computeBasis(e)+", within "+times(core.ComputeBand)
	switch {
	case timed && counted:
		code = fmt.Sprintf("within %s of the figure where a kernel was compiled, %s where it was counted", times(core.EmulatedCodeBand), times(core.CodeBand))
		compute = fmt.Sprintf("emulated within %s, counted within %s", times(core.EmulatedBand), times(core.ComputeBand))
	case timed:
		code, compute = "within "+times(core.EmulatedCodeBand)+" of the figure", computeBasis(e)+", within "+times(core.EmulatedBand)
	}
	for i := range e.Nodes {
		if e.Nodes[i].Basis == blocks.Measured {
			compute = computeBasis(e) + ", each node within the band of its basis"
		}
	}
	data, nodes := "exact", 0
	for i := range e.Nodes {
		if e.Nodes[i].Built != "" {
			nodes++
		}
	}
	if nodes > 0 {
		data = fmt.Sprintf("exact, of %d of %d nodes as measured in a program that was built", nodes, len(e.Nodes))
	}
	return fmt.Sprintf("Data bytes are %s; code bytes lie %s. Compute is %s; stalls are %v, within %s; system cycles and bytes are stated by the board.",
		data, code, compute, e.Graph.StallBasis(), times(e.Graph.Board.StallBand))
}

func times(b blocks.Band) string { return fmt.Sprintf("%.3g to %.3g times", b.Low, b.High) }

// amount is how much of a kind of resource is used, rounded up.
func amount(kind estimator.ResourceKind, v float64) string {
	switch kind {
	case estimator.CPUResource:
		return whole(up(v))
	case estimator.JackResource:
		return fmt.Sprint(v)
	}
	return blocks.Bytes(v).Up()
}

// limitOf is how much of a resource there is, rounded down.
func limitOf(r *estimator.Resource) string {
	if r.Kind == estimator.MemoryResource || r.Kind == estimator.FlashResource {
		return blocks.Bytes(r.Limit).Down()
	}
	if r.Kind == estimator.CPUResource {
		return blocks.Cycles(down(r.Limit)).String()
	}
	return amount(r.Kind, r.Limit)
}

// noise is what the rounding of sums leaves in a figure; it is no amount.
const noise = 1e-6

// up rounds an amount that is used, down one that there is.
func up(v float64) float64   { return math.Ceil(v - noise) }
func down(v float64) float64 { return math.Floor(v + noise) }

// percent is a share in words for people; nothing of nothing is nothing.
func percent(part, whole float64) string {
	if whole == 0 {
		return "-"
	}
	return blocks.Percent(part / whole)
}

// counted is a number of things in words.
func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return whole(float64(n)) + " " + what + "s"
}

// whole prints a number without decimals, its digits in groups of three.
func whole(v float64) string {
	return strings.TrimSuffix(strings.TrimSuffix(blocks.Cycles(math.Round(v)).String(), "s"), " cycle")
}

// adding prints numbers to so many decimals such that, as printed, they add up
// to their sum, which is rounded up.
func adding(decimals int, parts ...float64) (printed []string, sum string) {
	scale := math.Pow10(decimals)
	text := func(steps float64) string {
		if decimals == 0 {
			return whole(steps)
		}
		return fmt.Sprintf("%.*f", decimals, steps/scale)
	}
	var total, before float64
	for _, p := range parts {
		total += p
		now := up(total * scale)
		printed = append(printed, text(now-before))
		before = now
	}
	return printed, text(before)
}

// printable puts a space for each character that would command the terminal.
func printable(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return ' '
	}, text)
}

// settings breaks what to write into a node into lines of about so many
// characters, between one setting and the next.
func settings(write string, width int) []string {
	var lines []string
	for setting := range strings.SplitSeq(write, ", ") {
		last := len(lines) - 1
		if last >= 0 && len(lines[last])+2+len(setting) <= width {
			lines[last] += ", " + setting
			continue
		}
		if last >= 0 {
			lines[last] += ","
		}
		lines = append(lines, setting)
	}
	return lines
}

// wrap breaks a text into lines of at most so many characters where words
// allow it. It does not break after a digit, so that a number keeps its unit
// and its groups of three.
func wrap(text string, width int) []string {
	var lines []string
	line, length := "", 0
	for _, piece := range pieces(text) {
		n := len([]rune(piece))
		if length > 0 && length+1+n > width {
			lines = append(lines, line)
			line, length = "", 0
		}
		if length > 0 {
			line += " "
			length++
		}
		line += piece
		length += n
	}
	return append(lines, line)
}

// pieces are the words of a text, joined where no line may break.
func pieces(text string) []string {
	var all []string
	for _, word := range strings.Fields(text) {
		if n := len(all); n > 0 && unicode.IsDigit(rune(all[n-1][len(all[n-1])-1])) {
			all[n-1] += " " + word
		} else {
			all = append(all, word)
		}
	}
	return all
}
