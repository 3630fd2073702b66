package estimator

import "elbowroom/blocks"

// What calls the kernels is code too: it starts them, sums what feeds them and
// moves their parameters. A call is four loads of two bytes, the addresses that
// three of them load, and a branch of four; each kernel is called at the start
// and in each block. In a loop over voices each of the three addresses is loaded
// and moved on, in four bytes each. House judgement, held to whole programs by
// gauge.
const (
	callBytes        = 24
	callInVoiceBytes = callBytes + 3*(4+4)
	pointerBytes     = 4
	settingBytes     = 16 // rates, block size and channels, once for each number of channels
	loopBytes        = 6  // the end of a loop over voices
)

// calls is the code and the constants of what calls the kernels.
func (e *Estimate) calls() flashItem {
	g := e.Graph
	bytes := 0.0
	channels := map[int]bool{}
	for _, n := range g.Nodes {
		if n.Use.Own != nil {
			continue // the user states it with the rest
		}
		if !channels[n.Use.Channels] {
			channels[n.Use.Channels] = true
			bytes += settingBytes
		}
		call := float64(callBytes)
		if g.Copies(n) > 1 {
			call = callInVoiceBytes
		}
		bytes += 2*call + pointerBytes*float64(n.constants(g.Copies(n)))
		style := n.Use.Style
		for i := range n.Inputs {
			in := &n.Inputs[i]
			k := float64(len(in.Sources))
			switch {
			case in.sumChannels(n) > 0:
				bytes += float64(in.sumChannels(n)) * g.Core.CodeOf(style, sumWork(k)...)
			case k > 1 && in.Port.Kind == blocks.Control:
				bytes += g.Core.CodeOf(style, blocks.Work{Class: blocks.OpLoad, Times: k}, blocks.Work{Class: blocks.OpAdd, Times: k - 1})
			case k > 0 && in.Port.Kind == blocks.Event:
				bytes += k * (call + loopBytes)
			}
		}
		for _, d := range n.Drives {
			bytes += g.Core.CodeOf(style, d.work()...)
		}
		called := map[string]bool{}
		for _, up := range n.Block().Operations.Updates {
			for _, d := range n.Drives {
				for _, name := range up.When {
					if name == n.Block().Params[d.Param].Name && !called[up.Name] {
						called[up.Name] = true
						bytes += call
					}
				}
			}
		}
	}
	for _, group := range g.Groups {
		if group.Out >= 0 {
			n := g.Nodes[group.Out]
			bytes += loopBytes + float64(n.outChannels(0))*g.Core.CodeOf(n.Use.Style, voiceWork()...)
		}
	}
	return flashItem{name: "calls", part: PartCode, bytes: g.Core.CodeBand.Within(bytes)}
}

// constants are the words in flash that a node's calls read: where its signals,
// events sent, buffers and tables lie, for each copy, and its parameters.
func (n *Node) constants(copies int) int {
	words := len(n.demand.Buffers) + len(n.demand.Tables)
	for i := range n.Inputs {
		switch p := n.Inputs[i].Port; p.Kind {
		case blocks.Audio:
			words += n.Use.PortChannels(p)
		case blocks.Control:
			words++
		}
	}
	for port := range n.Block().Outputs {
		words += n.outChannels(port)
	}
	words *= copies
	for i := range n.Block().Params {
		if p := &n.Block().Params[i]; !p.Categorical() || p.Plain {
			words++
		}
	}
	return words
}

// sumWork is what adding up two sources or more takes, a sample and channel: the
// second addition waits for the first, and the store for the last.
func sumWork(sources float64) []blocks.Work {
	return []blocks.Work{{Class: blocks.OpLoad, Times: sources}, {Class: blocks.OpAdd, Times: sources - 1}, {Class: blocks.OpChain, Times: sources - 1},
		{Class: blocks.OpStore, Times: 1}, {Class: blocks.OpLoop, Times: 1}}
}

// voiceWork is what adding a voice to those before it takes, a sample and
// channel.
func voiceWork() []blocks.Work { return sumWork(2) }

// steppingWork is what calling a kernel for each sample takes beside the call: the
// loop, and each pointer loaded, moved on and stored.
func (n *Node) steppingWork() []blocks.Work {
	pointers := 0
	for i := range n.Inputs {
		if p := n.Inputs[i].Port; p.Kind == blocks.Audio {
			pointers += n.Use.PortChannels(p)
		}
	}
	for port := range n.Block().Outputs {
		if n.Block().Outputs[port].Kind == blocks.Audio {
			pointers += n.outChannels(port)
		}
	}
	times := float64(pointers)
	return []blocks.Work{{Class: blocks.OpLoop, Times: 1}, {Class: blocks.OpLoad, Times: times}, {Class: blocks.OpInt, Times: times}, {Class: blocks.OpStore, Times: times}}
}
