package estimator

import (
	"cmp"
	"slices"

	"gonum.org/v1/gonum/graph"

	"elbowroom/blocks"
)

// openSelf opens the loop of a node that feeds itself.
func (g *Graph) openSelf(i int, l link, split map[int]bool, cut []bool, s *Schedule) {
	if !l.drive && l.to < len(g.Nodes) && g.outlasts(g.Nodes[l.to].demand.Shortest) {
		split[l.to] = true
		s.Split = append(s.Split, l.to)
		return
	}
	cut[i] = true
	s.Cuts = append(s.Cuts, Cut{l.source, l.reader})
}

// open takes one turn at opening a loop.
func (g *Graph) open(loop []graph.Node, links []link, split map[int]bool, cut []bool, s *Schedule) {
	in := map[int]bool{}
	var vertices []int
	for _, node := range loop {
		v := int(node.ID()) / 2
		if !in[v] {
			vertices = append(vertices, v)
		}
		in[v] = true
	}
	slices.Sort(vertices)
	for _, v := range vertices {
		if v < len(g.Nodes) && !split[v] && g.outlasts(g.Nodes[v].demand.Shortest) {
			split[v] = true
			s.Split = append(s.Split, v)
			return
		}
	}
	var inside, back []int
	for i, l := range links {
		if cut[i] || !in[l.from] || !in[l.to] {
			continue
		}
		inside = append(inside, i)
		if l.from >= l.to {
			back = append(back, i)
		}
	}
	for _, i := range g.cheapestCuts(inside, back, links, split) {
		cut[i] = true
		s.Cuts = append(s.Cuts, Cut{links[i].source, links[i].reader})
	}
}

// cheapestCuts are the wires to cut so that no loop is left among those inside:
// of the sets of wires that lead back in the file, so that what comes in is not
// late, one that keeps fewest block buffers, then the fewest wires. Of more than
// are tried it is the best single wire, and what is left is opened after it.
func (g *Graph) cheapestCuts(inside, back []int, links []link, split map[int]bool) []int {
	if len(back) > mostWiresTried {
		return []int{slices.MinFunc(back, func(a, b int) int { return g.cutCost(links[a]) - g.cutCost(links[b]) })}
	}
	var best []int
	least := 0
	for set := uint(1); set < 1<<len(back); set++ {
		var cuts []int
		kept := 0
		for k, i := range back {
			if set>>k&1 == 1 {
				cuts = append(cuts, i)
				kept += g.cutCost(links[i])
			}
		}
		better := best == nil || cmp.Or(cmp.Compare(kept, least), cmp.Compare(len(cuts), len(best))) < 0
		if better && opens(inside, cuts, links, split) {
			best, least = cuts, kept
		}
	}
	return best
}

// opens tells whether no loop is left of links inside one without some of them.
func opens(inside, cuts []int, links []link, split map[int]bool) bool {
	var left []link
	for _, i := range inside {
		if !slices.Contains(cuts, i) {
			left = append(left, links[i])
		}
	}
	// A link whose reader leads nowhere closes nothing.
	for again := true; again; {
		again = false
		left = slices.DeleteFunc(left, func(l link) bool {
			halved := split[l.to] && !l.drive
			ends := halved || !slices.ContainsFunc(left, func(m link) bool { return m.from == l.to })
			again = again || ends
			return ends
		})
	}
	return len(left) == 0
}

// cutCost is how many block buffers a cut keeps from one block to the next.
func (g *Graph) cutCost(l link) int {
	if g.port(l.source).Kind != blocks.Audio {
		return 0
	}
	return g.Channels(l.source)
}
