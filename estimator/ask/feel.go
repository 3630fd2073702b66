package ask

// Feel is what a player notices of a latency.
type Feel struct {
	Most   float64 // seconds; the last has none above it
	Text   string
	Source string
}

// feels are published thresholds of latency, the shortest first. Between them
// is no figure: the next longer one is told.
var feels = []Feel{
	{0.006, "it feels immediate", "under 5 to 6 ms: practice"},
	{0.010, "it plays as if there were none, even for drums",
		"10 ms is the ceiling of D. Wessel and M. Wright, Computer Music Journal 26(3), 2002, and was rated like 0 ms on percussion by R. Jack and others, Music Perception 36(1), 2018"},
	{0.020, "drums begin to feel late",
		"20 ms was rated worse than 10 ms on percussion: R. Jack and others, Music Perception 36(1), 2018"},
	{0.030, "a hand that moves a sound without touching anything just notices it",
		"20 to 30 ms: T. Maki-Patola and P. Hamalainen, ICMC and DAFx 2004"},
	{0.120, "slow gestures still work, playing in time does not",
		"errors rise only slightly up to 120 ms: T. Maki-Patola and P. Hamalainen, ICMC and DAFx 2004"},
	{0, "it is heard as an echo of what the hand does", "beyond the 120 ms that were tried: house judgement"},
}

// FeelOf is what a player notices of a latency in seconds.
func FeelOf(latency float64) Feel {
	for _, f := range feels[:len(feels)-1] {
		if latency <= f.Most {
			return f
		}
	}
	return feels[len(feels)-1]
}
