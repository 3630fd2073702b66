package catalog

import (
	"elbowroom/blocks"
	"elbowroom/blocks/source"
)

// readMeasured reads what was measured on a board: a file that 'calibrate' or
// 'reconcile' wrote, or a person by hand.
func readMeasured(v source.Value) *blocks.Measurements {
	o := v.Object("the file")
	m := &blocks.Measurements{Board: word(o.Need("measured"), hyphenated, aName)}
	m.Source = o.Need("source").Text("what was measured, and how")
	compute := o.Take("compute")
	co := compute.Object("compute")
	m.All = factor(co.Take("all"), "all")
	m.Families = factors(co.Take("families"))
	m.Blocks = factors(co.Take("blocks"))
	m.Nodes = map[string]blocks.MeasuredNode{}
	for _, n := range co.Take("nodes").Object("nodes").Rest() {
		no := n.Value.Object("'" + n.Name + "'")
		block := no.Need("block").Text("the name of a block")
		m.Nodes[n.Name] = blocks.MeasuredNode{Block: block, Factor: edges(no)}
	}
	co.Done("key")
	m.Stalls = factor(o.Take("stalls"), "stalls")
	m.Calls = factor(o.Take("calls"), "calls")
	m.System = banks(o.Take("system"), "system")
	readBytes(o.Take("bytes"), m)
	o.Done("key")
	return m
}

// banks reads bytes of each bank.
func banks(v source.Value, what string) []blocks.BankBytes {
	var list []blocks.BankBytes
	for _, row := range v.Object(what).Rest() {
		list = append(list, blocks.BankBytes{Place: row.Key, Bank: row.Name, Bytes: blocks.Bytes(one(row.Value, blocks.UnitBytes))})
	}
	return list
}

// readBytes reads what nodes and blocks took of a program.
func readBytes(v source.Value, m *blocks.Measurements) {
	m.NodeBytes, m.BlockFlash = map[string]blocks.MeasuredBytes{}, map[string]blocks.Built{}
	o := v.Object("bytes")
	for _, n := range o.Take("nodes").Object("nodes").Rest() {
		no := n.Value.Object("'" + n.Name + "'")
		node := blocks.MeasuredBytes{Block: no.Need("block").Text("the name of a block")}
		node.Data, node.Flash = built(no.Take("data"), false), built(no.Take("flash"), true)
		m.NodeBytes[n.Name] = node
		no.Done("key")
	}
	for _, b := range o.Take("blocks").Object("blocks").Rest() {
		m.BlockFlash[b.Name] = built(b.Value, true)
	}
	o.Done("key")
}

// built reads bytes that were built and what was estimated of them; zero where
// they are not given. Of code it may stand what of it lies in RAM besides.
func built(v source.Value, code bool) blocks.Built {
	if !v.Given() {
		return blocks.Built{}
	}
	o := v.Object("what was built")
	b := blocks.Built{Bytes: blocks.Bytes(positive(o.Need("built"), blocks.UnitBytes, "what was built"))}
	if estimated := o.Take("estimated"); estimated.Given() {
		b.Estimated = blocks.Bytes(positive(estimated, blocks.UnitBytes, "what was estimated"))
	}
	if ram := o.Take("ram"); code && ram.Given() {
		b.RAM = banks(ram, "ram")
		var sum blocks.Bytes
		for _, row := range b.RAM {
			sum += row.Bytes
		}
		if sum > b.Bytes {
			ram.Fail("", "%v lie in RAM of the %v that were built", sum, b.Bytes)
		}
	} else if ram.Given() {
		ram.Fail("", "only of code, which lies in flash, some lies in RAM besides")
	}
	o.Done("key")
	return b
}

// factors reads a factor for each name.
func factors(v source.Value) map[string]blocks.Figure {
	list := map[string]blocks.Figure{}
	for _, m := range v.Object("factors").Rest() {
		list[m.Name] = factor(m.Value, m.Name)
	}
	return list
}

// factor reads a factor with its edges; zero where it is not given.
func factor(v source.Value, what string) blocks.Figure {
	if !v.Given() {
		return blocks.Figure{}
	}
	return edges(v.Object("'" + what + "'"))
}

// edges reads the factor in a mapping, and demands that nothing else is left.
func edges(o *source.Object) blocks.Figure {
	f := blocks.Figure{
		Value: positive(o.Need("factor"), blocks.UnitRatio, "a factor"),
		Low:   positive(o.Need("low"), blocks.UnitRatio, "a factor"),
		High:  positive(o.Need("high"), blocks.UnitRatio, "a factor"),
	}
	if f.Value > 0 && f.Low > 0 && f.High > 0 && (f.Low > f.Value || f.Value > f.High) {
		o.Key("factor").Fail("", "a factor lies between its edges 'low' and 'high'")
	}
	o.Done("key")
	return f
}
