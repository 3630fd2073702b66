package calibrate

import (
	"fmt"
	"strings"

	"elbowroom/blocks"
)

// File is the factors as a file that a graph can name under 'catalog'. The name
// is that of the readings.
func (r *Result) File(readings string) string {
	var b strings.Builder
	sizes := strings.Trim(strings.ReplaceAll(fmt.Sprint(r.sizes), " ", ", "), "[]")
	fmt.Fprintf(&b, "# What was measured on %s, written by 'elbowroom calibrate'. A graph on that board\n", r.Board)
	fmt.Fprintf(&b, "# that names this file under 'catalog:' is answered with it: estimated cycles of\n")
	fmt.Fprintf(&b, "# compute are multiplied by the factor that stands closest to a node, and a reading\n")
	fmt.Fprintf(&b, "# lies between 'low' and 'high' times the estimate.\n")
	if r.Calls != nil {
		fmt.Fprintf(&b, "# To what processes audio comes for each sample after the first of a block what\n")
		fmt.Fprintf(&b, "# its call is estimated to take, times the factor of calls.\n")
	}
	fmt.Fprintf(&b, "measured: %s\n", r.Board)
	fmt.Fprintf(&b, "source: %q\n", fmt.Sprintf("%s: %d readings at blocks of %s", readings, r.Readings, sizes))
	fmt.Fprintf(&b, "compute:\n")
	if r.Rest != nil {
		fmt.Fprintf(&b, "  all: {%s}\n", edges(r.Rest.Band))
	}
	var nodes, others []*Factor
	for i := range r.Factors {
		if f := &r.Factors[i]; f.Block != "" {
			nodes = append(nodes, f)
		} else {
			others = append(others, f)
		}
	}
	if len(others) > 0 && r.Level == ByBoard {
		fmt.Fprintf(&b, "  all: {%s}\n", edges(others[0].Band))
	} else if len(others) > 0 {
		fmt.Fprintf(&b, "  %s:\n", map[Level]string{ByFamily: "families", ByBlock: "blocks"}[r.Level])
		for _, f := range others {
			fmt.Fprintf(&b, "    %s: {%s}\n", f.Key, edges(f.Band))
		}
	}
	if len(nodes) > 0 {
		fmt.Fprintf(&b, "  nodes:\n")
		for _, f := range nodes {
			fmt.Fprintf(&b, "    %s: {block: %s, %s}\n", f.Key, f.Block, edges(f.Band))
		}
	}
	if r.Stalls != nil {
		fmt.Fprintf(&b, "stalls: {%s}\n", edges(r.Stalls.Band))
	}
	if r.Calls != nil {
		fmt.Fprintf(&b, "calls: {%s}\n", edges(r.Calls.Band))
	}
	return b.String()
}

func edges(f blocks.Figure) string {
	return fmt.Sprintf("factor: %.4f, low: %.4f, high: %.4f", f.Value, f.Low, f.High)
}
