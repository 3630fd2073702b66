package ask

import (
	"math"

	"elbowroom/estimator"
)

// narrow finds neighbouring steps of which one holds and the other does not,
// between two such points.
//
// Placing memory takes long where it only just holds, and hardly any time where
// it cannot, so it comes from the side that fails: first to where the room must
// end, then to where what is short should be gone, since bytes and cycles grow
// with nearly every dial in a straight line; and where guessing does not help it
// takes three quarters of the way back.
func (s *seeker) narrow(d *Dial, holds, fails point) (point, point) {
	const mostGuesses = 3
	guesses, guessed := 0, false
	for {
		gap, toward := fails.step-holds.step, 1
		if gap < 0 {
			gap, toward = -gap, -1
		}
		if gap <= 1 {
			return holds, fails
		}
		step := holds.step + toward*max(gap*3/4, 1)
		if guessed {
			step = holds.step + toward // a guess that holds is mostly the edge
			guessed = false
		} else if guess, ok := d.guess(&holds, &fails); ok && guesses < mostGuesses {
			step = guess
			guesses++
			guessed = true
		}
		p := s.at(d, step)
		if p.holds {
			holds = p
		} else {
			fails = p
			guessed = false
		}
	}
}

// guess is the step between two points at which nothing should be short, on the
// side that holds.
func (d *Dial) guess(holds, fails *point) (int, bool) {
	if holds.after == nil || fails.after == nil {
		return 0, false
	}
	share := 1.0 // of the way from the point that holds to the one that fails
	between := func(from, limit, to float64) {
		if to > limit && to > from {
			share = min(share, (limit-from)/(to-from))
		}
	}
	between(holds.need.load, 1, fails.need.load)
	between(holds.need.flash, fails.need.flash-fails.short.flash, fails.need.flash)
	grown(holds.after, fails.after, between)
	if share >= 1 { // the room would suffice, and yet not all of it finds a place
		between(holds.need.memory, fails.need.memory-fails.short.memory, fails.need.memory)
	}
	if share <= 0 || share >= 1 {
		return 0, false
	}
	value := holds.value + share*(fails.value-holds.value)
	if fails.step > holds.step {
		return min(max(d.grid().floor(value), holds.step+1), fails.step-1), true
	}
	return max(min(d.grid().ceil(value), holds.step-1), fails.step+1), true
}

// grown tells for what has grown between two graphs on one board how large it
// was, how large it can be at most, and how large it is: all data together, and
// each object alone in the largest bank that may hold it.
func grown(holds, fails *estimator.Estimate, tell func(from, limit, to float64)) {
	board := fails.Graph.Board
	if holds.Graph.Board != board {
		return
	}
	before := map[string]float64{}
	var from, to, room float64
	for _, o := range holds.Objects {
		before[o.Name] = float64(o.Bytes)
		from += float64(o.Bytes)
	}
	rooms := make([]float64, len(board.Banks)) // for objects
	for b := range rooms {
		if !board.Banks[b].Kind.Constant() {
			rooms[b] = float64(fails.Banks[b].Usable - fails.Banks[b].Parts[estimator.PartSystem])
			room += rooms[b]
		}
	}
	for _, o := range fails.Objects {
		to += float64(o.Bytes)
		was, same := before[o.Name]
		if !same || float64(o.Bytes) <= was {
			continue
		}
		most := 0.0
		for b := range rooms {
			if o.Pin < 0 && (board.Banks[b].DMA || !o.DMA) || o.Pin == b {
				most = math.Max(most, rooms[b])
			}
		}
		tell(was, most, float64(o.Bytes))
	}
	tell(from, room, to)
}
