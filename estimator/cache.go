package estimator

import (
	"math"
	"slices"

	"elbowroom/blocks"
)

// How caches are modelled.
//
// A buffer is walked round by heads: places at which it is touched, each one
// frame further on every sample. A line of a delay that is read where it is
// written next has one head, a line with four taps four or five. Let
//
//	N  samples a block          B  bytes of the buffer
//	f  bytes of a frame         H  heads
//	L  bytes of a cache line    C  bytes of the cache, in W ways
//	e  bytes of one access      r  lines touched a sample, out of order
//
// In one block a head moves on by N f bytes, which is N f / L lines, and touches
// (N f + L - e) / L of them, since it rarely begins where a line does. What one
// head leaves the next one comes to after
//
//	T = B / (H N f)             blocks, heads being evenly spread
//
// A cache that throws out what was touched longest ago still holds what was
// touched in the last k blocks if that is no more than C. Over k blocks
//
//	S(k) = min(B, H (k N f + L - e))     of what is walked through in order
//	S(k) = B (1 - exp(-k / T))           of what is read anywhere, T = B / (L r N)
//
// and the horizon of a placement is the largest k for which the sum of S(k)
// over all that lies in cached banks is within C. There is no end to it where
// everything fits together. The lines to fetch in a block are then
//
//	horizon >= T     none
//	horizon >= 1     H N f / L           each line once in each pass of a head
//	horizon  < 1     H (N f + L - e) / L also what the head had begun before: the
//	                                     nodes throw each other out between two runs
//
// and of what is read anywhere r N exp(-k / T): those that were not touched
// within the horizon. Neighbours that are read at one place, as the two ends of a
// straight line between entries of a table, share a line but for e / L of them. A
// line that was written is written back once for each time it was fetched to
// write. Where a cache does not fetch on a write, a write that finds no line goes
// past it at the cost of the bank.
//
// Heads whose distance is a multiple of C / W share the lines of one set; where
// more than W do, each access throws out what the next one needs, and each
// costs a line. That is looked for between the taps of one buffer, which keep
// their distance, and not between buffers, which do not.
//
// What recurring work touches all at once, every E samples, is taken as if a block
// were E samples where it runs, and so fetched E / N times as seldom. What it walks
// round more than twice in one turn, as a transform its frame, is fetched once where
// all of that fits into the cache together, and else in each pass.
//
// The model knows no other placement in sets, no two masters on one bus, no
// rows of a DRAM, and no fetch ahead: the band of the board holds that.

// horizons are the numbers of blocks for which it is asked whether the cache
// holds what was touched since, shortest first: half octaves as far as they make
// a difference to anything, and for ever. All placements of a graph are
// weighed by the same, so that the one that is found waits as long as it is
// told. None: the board has no cache.
func (g *Graph) horizons(objects []Object) []float64 {
	cache := &g.Board.Cache
	if cache.Bytes == 0 {
		return nil
	}
	longest := 1.0
	for i := range objects {
		o := &objects[i]
		switch period := g.period(o); {
		case o.Pattern == blocks.Random:
			longest = max(longest, 2*period)
		case o.Bytes <= cache.Bytes:
			longest = max(longest, period)
		}
	}
	const most = 4096 // blocks, after which a cache holds nothing but what it always holds
	var list []float64
	for k := 1.0; ; k *= math.Sqrt2 {
		list = append(list, k)
		if k >= min(longest, most) {
			break
		}
	}
	return append(list, math.Inf(1))
}

// frame is the bytes by which the heads of an object move on in a sample.
func (o *Object) frame() float64 {
	if o.Writes > 0 {
		return o.Writes * float64(o.Element)
	}
	return o.Reads * float64(o.Element) / o.heads()
}

// heads is at how many places an object is touched; one where nothing is said.
func (o *Object) heads() float64 { return max(o.Heads, 1) }

// scattered is the lines a sample that are touched of what is read anywhere: one
// at each of its places, and of the neighbours read there those that stand over
// the edge of it.
func (o *Object) scattered(cache *blocks.Cache) float64 {
	accesses := o.Reads + o.Writes
	places := accesses
	if o.Heads > 0 {
		places = min(o.Heads, accesses)
	}
	return places + (accesses-places)*min(float64(o.Element)/float64(cache.Line), 1)
}

// stretch is for how many samples an object is touched at a time: those of a block,
// or of a turn of the recurring work that touches it.
func (g *Graph) stretch(o *Object) float64 {
	if o.Every > 0 {
		return o.Every
	}
	return float64(g.BlockSize)
}

// keepCompany tells objects that recurring work walks round more than twice in one
// turn how much they are together.
func keepCompany(objects []*Object) {
	type turn struct {
		node int
		due  string
	}
	together := map[turn]blocks.Bytes{}
	again := func(o *Object) bool { return o.Every > 0 && o.heads()*o.frame()*o.Every > 2*float64(o.Bytes) }
	for _, o := range objects {
		if again(o) {
			together[turn{o.Node, o.Due}] += o.Bytes
		}
	}
	for _, o := range objects {
		if again(o) {
			o.Company = together[turn{o.Node, o.Due}]
		}
	}
}

// period is after how many blocks an object is touched again where it was
// touched before; +Inf: never.
func (g *Graph) period(o *Object) float64 {
	perSample := o.heads() * o.frame()
	if o.Pattern == blocks.Random {
		perSample = o.scattered(&g.Board.Cache) * float64(g.Board.Cache.Line)
	}
	if perSample == 0 {
		return math.Inf(1)
	}
	return float64(o.Bytes) / (perSample * float64(g.BlockSize))
}

// footprint is how many bytes of a cache an object takes up with what is
// touched of it in so many blocks.
func (g *Graph) footprint(o *Object, horizon float64) blocks.Bytes {
	line := g.Board.Cache.Line
	whole := alignUp(o.Bytes, line)
	period := g.period(o)
	switch {
	case math.IsInf(period, 1):
		return 0
	case math.IsInf(horizon, 1):
		return whole
	case o.Pattern == blocks.Random:
		return blocks.Bytes(math.Ceil(float64(whole) * -math.Expm1(-horizon/period)))
	}
	samples := max(horizon*float64(g.BlockSize), o.Every)
	touched := o.heads() * (samples*o.frame() + float64(line-min(o.Element, line)))
	return min(whole, blocks.Bytes(math.Ceil(touched)))
}

// lines is how many cache lines an object in a cached bank fetches and writes back
// each time that it is touched, in a block or in a turn, and how many writes go past
// a cache that does not fetch on a write, given how many blocks back the cache
// reaches.
func (g *Graph) lines(o *Object, horizon float64) (fills, backs, past float64) {
	cache := &g.Board.Cache
	n, line, period := g.stretch(o), float64(cache.Line), g.period(o)
	if math.IsInf(period, 1) {
		return 0, 0, 0
	}
	if o.Pattern == blocks.Random {
		fills = o.scattered(cache) * n * math.Exp(-horizon/period)
		if horizon < 1 {
			fills = float64(o.Bytes) / line * -math.Expm1(-n/(period*float64(g.BlockSize)))
		}
		written := o.Writes / (o.Reads + o.Writes)
		if cache.WriteAround {
			return fills * (1 - written), 0, fills * written
		}
		return fills, fills * written, 0
	}
	if period <= horizon*(1+1e-9) {
		return 0, 0, 0
	}
	perHead := n * o.frame() / line
	if horizon < 1 {
		perHead += 1 - min(float64(o.Element), line)/line
	}
	if max(o.Bytes, o.Company) <= cache.Bytes {
		perHead = min(perHead, float64(o.Bytes)/line) // no line twice in one run
	}
	heads := o.heads()
	clashing := 0.0
	if o.Pattern == blocks.Stream {
		clashing = clash(cache, o)
	}
	fills = heads * (perHead*(1-clashing) + n*o.frame()/float64(o.Element)*clashing)
	if o.Writes > 0 {
		backs = fills / heads
	}
	if cache.WriteAround && o.Reads == 0 {
		return 0, 0, o.Writes * n // nothing has fetched the line before
	}
	return fills, backs, 0
}

// clash is the share of an object's heads that throw each other out of the
// cache, in the mean over where they stand: more of them share a set than it
// has ways. Heads are evenly spread, and those past the end of the buffer stand
// at its beginning.
func clash(cache *blocks.Cache, o *Object) float64 {
	const mostHeads = 64 // beyond that the heads are a sweep, which has no set of its own
	heads := int(o.heads())
	if heads <= cache.Ways || heads > mostHeads || cache.Ways == 0 || o.Bytes <= cache.Bytes {
		return 0
	}
	line := int(cache.Line)
	sets := int(cache.Bytes) / (line * cache.Ways)
	step := max(int(o.Element), 1)
	apart := float64(o.Bytes) / float64(heads)
	held := make([][]int, sets) // lines that heads stand in, of each set
	clashing, looks := 0, 0
	for wrapped := range heads {
		for begun := 0; begun < line; begun += step {
			var used []int
			for h := range heads {
				at := float64(begun) + float64(h)*apart
				if h < wrapped {
					at += float64(o.Bytes)
				}
				l := int(at) / line
				if set := l % sets; !slices.Contains(held[set], l) {
					held[set], used = append(held[set], l), append(used, set)
				}
			}
			for _, set := range used {
				if n := len(held[set]); n > cache.Ways {
					clashing += n
				}
				held[set] = held[set][:0]
			}
			looks += heads
		}
	}
	return float64(clashing) / float64(looks)
}
