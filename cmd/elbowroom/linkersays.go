package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"elbowroom/blocks"
	"elbowroom/estimator"
	"elbowroom/estimator/lighten"
	"elbowroom/estimator/reconcile"
)

// LinkerShort is room that a linker missed in a region, and what to give up for
// it.
type LinkerShort struct {
	Region   string   `json:"region,omitempty" jsonschema:"as the linker script names it; left out where the linker told addresses"`
	Bank     string   `json:"bank,omitempty" jsonschema:"left out where it is not known which bank the region is"`
	Line     int      `json:"line" jsonschema:"of the linker's text, from 1"`
	Sections []string `json:"sections,omitempty" jsonschema:"that did not fit, or that lie on each other"`
	Over     int64    `json:"over" jsonschema:"bytes that are missing by the linker; 0: it tells no number"`
	Used     *Figure  `json:"used,omitempty" jsonschema:"bytes of the bank by the estimate"`
	Limit    int64    `json:"limit,omitempty" jsonschema:"bytes of the bank"`
	Missed   int64    `json:"missed,omitempty" jsonschema:"bytes that the program takes beyond the estimate, if the region is as large as the bank"`
	Largest  []Item   `json:"largest,omitempty" jsonschema:"what is largest in the bank by the estimate"`
	Plan     *Plan    `json:"plan,omitempty" jsonschema:"the least to give up that frees as many bytes of the bank"`
	Command  string   `json:"command,omitempty" jsonschema:"what asks for such plans"`
	Text     string   `json:"text" jsonschema:"in words"`
}

// mostLargest is how many of the largest things in a bank are told.
const mostLargest = 5

// linkerSays reads what a linker printed about the program of a graph.
func (a *app) linkerSays(ctx context.Context, name string, c *checked) ([]LinkerShort, error) {
	text, err := readText(name, a.stdin)
	if err != nil {
		return nil, err
	}
	said := reconcile.Said(text.Text())
	if len(said) == 0 {
		return nil, hinted{fmt.Errorf("%s: no line of it tells of a region that is full, or of sections that overlap", text.Name),
			"give all that the build printed; of interest are lines such as: region `RAM' overflowed by 1234 bytes"}
	}
	if reconcile.CheckRegions(c.estimate.Graph); c.errs.Len() > 0 {
		return nil, c.errs.Err()
	}
	list := make([]LinkerShort, len(said))
	for i := range said {
		if list[i], err = short(ctx, c, &said[i]); err != nil {
			return nil, err
		}
	}
	return list, nil
}

// short tells of one shortage: how much the estimate missed, what is largest, and
// what would free as much.
func short(ctx context.Context, c *checked, s *reconcile.Shortage) (LinkerShort, error) {
	e := c.estimate
	board := e.Graph.Board
	out := LinkerShort{Region: s.Region, Line: s.Line, Sections: s.Sections, Over: int64(s.Over)}
	where := fmt.Sprintf("region %s", s.Region)
	if s.Region == "" {
		where = fmt.Sprintf("0x%08x", s.Address)
	}
	much := "some bytes, it does not say how many,"
	if s.Over > 0 {
		much = amountOver(s.Over)
	}
	out.Text = fmt.Sprintf("The linker misses %s in %s", much, where)
	if s.Region == "" {
		out.Text = fmt.Sprintf("The linker puts %s at %s on each other, %s", strings.Join(s.Sections, " and "), where, much)
	} else if len(s.Sections) > 0 {
		out.Text += ", where " + strings.Join(s.Sections, ", ") + " should go"
	}
	b := reconcile.BankOfRegion(e.Graph, s)
	if b < 0 {
		out.Text += fmt.Sprintf(". Which bank of %s that is, is not known: there are %s.", board.Name, strings.Join(board.BankNames(), ", "))
		if s.Region != "" {
			out.Text += fmt.Sprintf(" Write 'regions: {%s: BANK}' into the graph.", s.Region)
		}
		return out, nil
	}
	bank := &board.Banks[b]
	r := e.Resource(bank.Name)
	used := figure(r.Used)
	out.Bank, out.Used, out.Limit = bank.Name, &used, int64(r.Limit)
	out.Largest = largestOf(e, b)
	out.Text += fmt.Sprintf(". That is the bank %s, of which the estimate takes %v of %v.", bank.Name, blocks.Bytes(r.Used.Value), blocks.Bytes(r.Limit))
	if s.Over == 0 {
		return out, nil
	}
	switch missed := int64(r.Limit) + out.Over - int64(r.Used.Value); {
	case s.Region == "":
	case missed > 0:
		out.Missed = missed
		out.Text += fmt.Sprintf(" If the region is as large as the bank, the program takes %s more than was estimated: 'elbowroom reconcile --map' or '--elf' tells whose they are.", amountOver(blocks.Bytes(missed)))
	default:
		out.Text += " The estimate says that it does not fit either."
	}
	out.Text += roomElsewhere(e, b, s.Over)
	aim := int64(r.Used.High) - out.Over // lighten holds a plan's whole band against it
	if aim <= 0 {
		out.Text += " All that the graph has there is less than what is missing: look at what else is linked in."
		return out, nil
	}
	out.Command = fmt.Sprintf("elbowroom lighten %s --want '%s=%d B'", c.name, bank.Name, aim)
	found, err := lighten.Find(ctx, e, lighten.Options{Plans: 1, Wants: []lighten.Want{{Resource: bank.Name, Amount: float64(aim)}}})
	var unknown *lighten.UnknownError
	if err != nil && !errors.As(err, &unknown) {
		return out, err
	}
	if found != nil && len(found.Plans) > 0 {
		p := planOf(c.name, e, &found.Plans[0], 1)
		out.Plan = &p
	} else {
		out.Text += " No plan frees that much of it; what is largest there stands below."
	}
	return out, nil
}

// roomElsewhere names the banks of the same use that have room by the estimate.
func roomElsewhere(e *estimator.Estimate, b int, over blocks.Bytes) string {
	var have []string
	for i, bank := range e.Graph.Board.Banks {
		if free := e.Free(i); i != b && bank.Kind.Constant() == e.Graph.Board.Banks[b].Kind.Constant() && free >= over {
			have = append(have, fmt.Sprintf("%s, %s", bank.Name, free.Down()))
		}
	}
	if len(have) == 0 {
		return ""
	}
	return fmt.Sprintf(" There is room elsewhere by the estimate (%s), where a section of yours may go for nothing.", strings.Join(have, "; "))
}

// amountOver tells bytes exactly, and where they are many in KiB or MiB as well.
func amountOver(b blocks.Bytes) string {
	exact := whole(float64(b)) + " B"
	if b < 1024 {
		return exact
	}
	return fmt.Sprintf("%s (%s)", b.Up(), exact)
}

// largestOf is what is largest in a bank, the largest first.
func largestOf(e *estimator.Estimate, b int) []Item {
	items := shelf(e, b).Items
	slices.SortStableFunc(items, func(x, y Item) int { return cmp.Compare(y.Bytes, x.Bytes) })
	return items[:min(len(items), mostLargest)]
}

// linkerSections tell what the linker said and what to do about it.
func linkerSections(list []LinkerShort) document {
	var d document
	for i := range list {
		s := &list[i]
		d = append(d, section{text: s.Text, tone: "over"})
		if len(s.Largest) > 0 {
			t := &table{align: "llr", header: []string{"largest in " + s.Bank, "is", "bytes"}}
			for _, item := range s.Largest {
				t.add(item.Name, item.Part, whole(float64(item.Bytes)))
			}
			d = append(d, section{table: t})
		}
		if s.Plan != nil {
			title := fmt.Sprintf("The least to give up that frees %s of %s", amountOver(blocks.Bytes(s.Over)), s.Bank)
			d = append(d, changeSections(title, s.Plan)...)
		}
		if s.Command != "" {
			d = append(d, section{text: "More plans: " + s.Command})
		}
	}
	return d
}
