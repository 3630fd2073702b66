package ask

import (
	"errors"

	"elbowroom/blocks/source"
	"elbowroom/estimator"
)

// standard is what a changed graph is held to: every resource fits or is tight,
// or is no more than unsure where it is unsure in the graph as it is.
type standard struct{ unsure map[string]bool } // by the name of the resource

func newStandard(e *estimator.Estimate) standard {
	s := standard{map[string]bool{}}
	for _, r := range e.Resources {
		s.unsure[r.Name] = r.Verdict == estimator.Unsure
	}
	return s
}

// allows is the worst verdict of a resource that holds.
func (s standard) allows(resource string) estimator.Verdict {
	if s.unsure[resource] {
		return estimator.Unsure
	}
	return estimator.Tight
}

// try weighs a graph with changes of its file.
func (s standard) try(g *estimator.Graph, edits ...source.Edit) point {
	changed, err := g.With(edits...)
	if err != nil {
		return point{refusal: refusal(err)}
	}
	e, err := changed.Estimate()
	if err != nil {
		return point{refusal: refusal(err)}
	}
	return s.weigh(e)
}

// refusal is the first thing that is wrong with a graph, without its place.
func refusal(err error) string {
	var list *source.Errors
	if errors.As(err, &list) && list.Len() > 0 {
		return list.List()[0].Message
	}
	var one *source.Error
	if errors.As(err, &one) {
		return one.Message
	}
	return err.Error()
}

// point is a changed graph, and how it stands.
type point struct {
	step    int // of the grid of the dial that was turned
	value   float64
	holds   bool
	refusal string              // the reader takes no such graph
	after   *estimator.Estimate // where it takes it
	need    need
	// short is how much is missing of the resources that do not hold; jacks
	// are not counted.
	short need
	stop  *estimator.Resource // the resource that is farthest from holding
}

// need is what a graph takes in all.
type need struct {
	memory, flash float64 // bytes, what alignment costs left out
	cycles        float64 // of the worst block
	load          float64 // of the budget, at the edge of the band that counts
}

// weigh tells whether an estimate holds.
func (s standard) weigh(e *estimator.Estimate) point {
	p := point{after: e, holds: true}
	for i := range e.Banks {
		bytes := float64(e.Banks[i].Used - e.Banks[i].Parts[estimator.PartAlignment])
		if e.Graph.Board.Banks[i].Kind.Constant() {
			p.need.flash += bytes
		} else {
			p.need.memory += bytes
		}
	}
	p.need.cycles = e.CPU.Worst.Total().Value
	worst := 0.0
	for i := range e.Resources {
		r := &e.Resources[i]
		allowed := s.allows(r.Name)
		counts := r.Used.High
		if allowed == estimator.Unsure {
			counts = r.Used.Low
		}
		if r.Kind == estimator.CPUResource {
			p.need.load = counts / r.Limit
		}
		if r.Verdict <= allowed {
			continue
		}
		p.holds = false
		if share := counts / max(r.Limit, 1); p.stop == nil || share > worst {
			p.stop, worst = r, share
		}
		switch r.Kind {
		case estimator.MemoryResource:
			p.short.memory += counts - r.Limit
		case estimator.FlashResource:
			p.short.flash += counts - r.Limit
		case estimator.CPUResource:
			p.short.load = p.need.load - 1
		}
	}
	return p
}

// heavier tells whether a point needs more of anything than another.
func (p *point) heavier(q *point) bool {
	more := func(a, b float64) bool { return a > b*(1+slack) }
	if more(p.need.memory, q.need.memory) || more(p.need.flash, q.need.flash) || more(p.need.load, q.need.load) {
		return true
	}
	for _, j := range p.after.Jacks {
		for _, k := range q.after.Jacks {
			if j.Name == k.Name && j.Used > k.Used {
				return true
			}
		}
	}
	return false
}
