package ask

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"elbowroom/blocks"
	"elbowroom/blocks/source"
)

// make works out the two graph files of a cut, as edits of the graph's.
func (c *cutter) make(at cut) (sides [2]Side, sends []Send) {
	g := c.graph
	taken := map[string]bool{}
	for _, n := range g.Nodes {
		taken[n.Place.Text("")] = true
	}
	for _, group := range g.Groups {
		taken[group.Name] = true
	}
	free := func(wanted string) string {
		name := wanted
		for k := 2; taken[name]; k++ {
			name = fmt.Sprintf("%s-%d", wanted, k)
		}
		taken[name] = true
		return name
	}
	for k := range sides {
		sides[k] = Side{Board: c.boards[k].board.Name, Edits: slices.Clone(c.boards[k].edits)}
	}
	for i := range c.signals {
		s := &c.signals[i]
		n := s.cables(at.side)
		if n == 0 {
			continue
		}
		from := int(at.side[s.unit])
		base := dashed(s.name)
		send := Send{Output: s.name, From: from, Kind: s.kind, Jacks: n, Out: free(base + "-send"), In: free(base + "-return"), Samples: c.delay(from, s.kind)}
		for _, r := range s.readers {
			if int(at.side[r.unit]) == from {
				continue
			}
			send.Loop = send.Loop || r.loop
			text := send.In
			if r.channel >= 0 {
				if n < s.channels {
					send.Output = fmt.Sprintf("%s.%d", s.name, r.channel+1)
				} else if n > 1 {
					text = fmt.Sprintf("%s.%d", send.In, r.channel+1)
				}
			}
			sides[1-from].Edits = append(sides[1-from].Edits, source.Edit{Path: r.path, Text: text})
			if name := g.Nodes[r.node].Name; !slices.Contains(send.To, name) {
				send.To = append(send.To, name)
			}
		}
		out, in := s.ends(&send)
		sides[from].Edits = append(sides[from].Edits, out...)
		sides[1-from].Edits = append(sides[1-from].Edits, in...)
		sends = append(sends, send)
	}
	for k := range sides {
		c.keep(&sides[k], at, k)
	}
	return sides, sends
}

// ends are the edits that add the nodes at both ends of a cable.
func (s *signal) ends(send *Send) (out, in []source.Edit) {
	set := func(node, key, text string) source.Edit {
		return source.Edit{Path: []string{"nodes", node, key}, Text: text}
	}
	names := [3][2]string{blocks.Audio: {"audio-out", "audio-in"}, blocks.Control: {"cv-out", "cv-in"}, blocks.Event: {"gate-out", "gate-in"}}[s.kind]
	out = []source.Edit{set(send.Out, "block", names[0]), set(send.Out, "from", send.Output)}
	in = []source.Edit{set(send.In, "block", names[1])}
	switch s.kind {
	case blocks.Audio:
		in = append(in, set(send.In, "channels", fmt.Sprint(send.Jacks)))
	case blocks.Event:
		if half := 0.5 / float64(s.rate); half < usualPulse {
			out = append(out, set(send.Out, "length", blocks.UnitTime.Format(half)))
		}
		in = append(in, set(send.In, "rate", blocks.UnitFrequency.Format(math.Max(float64(s.rate), 0.01))))
	}
	return out, in
}

// keep takes out of a side what goes on the other.
func (c *cutter) keep(side *Side, at cut, k int) {
	g := c.graph
	groups, gone := 0, map[string]bool{}
	for i := range c.units {
		u := &c.units[i]
		grouped := u.path[0] == "voices"
		if int(at.side[i]) == k {
			side.Names = append(side.Names, u.name)
			if grouped {
				groups++
			}
			continue
		}
		gone[u.name] = true
		if !grouped {
			side.Edits = append(side.Edits, source.Edit{Path: u.path, Remove: true})
		}
	}
	if groups == 0 && len(g.Groups) > 0 {
		side.Edits = append(side.Edits, source.Edit{Path: []string{"voices"}, Remove: true})
	} else {
		for _, group := range g.Groups {
			if gone[group.Name] {
				side.Edits = append(side.Edits, source.Edit{Path: []string{"voices", group.Name}, Remove: true})
			}
		}
	}
	for _, scene := range g.Scenes {
		stay := []string{}
		for _, i := range scene.Nodes {
			if !gone[g.Nodes[i].Name] {
				stay = append(stay, g.Nodes[i].Name)
			}
		}
		for _, i := range scene.Groups {
			if !gone[g.Groups[i].Name] {
				stay = append(stay, g.Groups[i].Name)
			}
		}
		if len(stay) < len(scene.Nodes)+len(scene.Groups) {
			side.Edits = append(side.Edits, source.Edit{Path: []string{"scenes", scene.Name}, List: stay})
		}
	}
}

// dashed is the name of an output as part of the name of a node.
func dashed(name string) string {
	return strings.NewReplacer(".", "-", "_", "-").Replace(name)
}
