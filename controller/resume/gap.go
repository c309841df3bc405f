package resume

import (
	"fmt"
	"time"
)

// Clocks is all that can tell how long an interruption lasted.
type Clocks struct {
	Up       time.Duration // by the board's own clock, which it did not lose; 0: it was switched off
	LastWall time.Time     // clock on the wall at the last reading
	Wall     time.Time     // the same now
	Cooling  Cooling
}

// Cooling is how long this kiln takes, by its model and without heat, for the
// fall that is seen. The zero value says nothing.
type Cooling struct {
	Known  bool
	Least  time.Duration // for the part of the fall that is sure
	Likely time.Duration // for the fall
	Most   time.Duration // for a little more; negative: it would never come there
}

// Gap is how long an interruption lasted.
type Gap struct {
	Least, Likely time.Duration
	Most          time.Duration // negative: nobody can tell
	By            string        // what says so, for people; "" for the plain case of a clock that is right
}

// The kiln's own cooling is met within 10 % by its model where it has been
// fired slowly; a fast one leaves the wall colder than the model thinks. A door
// that is not quite shut makes it fall several times as fast; a pattern that
// still burns holds it up.
const (
	fasterThanModel = 3
	slowerThanModel = 2
	atLeast         = 10 * time.Minute // a fall of some degrees says nothing finer
	longest         = 30 * 24 * time.Hour
)

// Measure weighs the clocks. The board's own clock is exact. The clock on the
// wall is believed when the fall of the chamber does not contradict it: a board
// without a battery starts in 1970, or where it was switched off, and is set
// right by the network some time later, by hours or years. Else the fall itself
// must do.
func Measure(c Clocks) Gap {
	if c.Up > 0 {
		return Gap{c.Up, c.Up, c.Up, ""}
	}
	least, likely, most := time.Duration(0), time.Duration(0), time.Duration(-1)
	if k := c.Cooling; k.Known {
		least, likely = k.Least/fasterThanModel, k.Likely
		if k.Most >= 0 {
			most = slowerThanModel*k.Most + atLeast
		}
	}
	wall := c.Wall.Sub(c.LastWall)
	if wall >= 0 && wall <= longest && wall >= least && (most < 0 || wall <= most) {
		return Gap{wall, wall, wall, ""}
	}
	g := Gap{Least: least, Likely: likely, Most: most}
	clocks := fmt.Sprintf("the clock shows %s, the last reading is from %s", c.Wall.Format(time.DateTime), c.LastWall.In(c.Wall.Location()).Format(time.DateTime))
	switch {
	case !c.Cooling.Known:
		g.By = clocks
	case most < 0:
		g.By = clocks + ", and the kiln is as cold as the room"
	default:
		g.By = clocks + "; the time is taken from how far the chamber fell"
	}
	return g
}

// String words the gap: "4 min", "about 20 min, between 5 min and 50 min".
func (g Gap) String() string {
	switch {
	case g.Most < 0:
		return "nobody knows how long"
	case g.Least == g.Most:
		return span(g.Likely)
	}
	return fmt.Sprintf("about %s, between %s and %s", span(g.Likely), span(g.Least), span(g.Most))
}

// span words a duration: 40 s, 4 min, 3 h 27 min.
func span(d time.Duration) string {
	m := int(d.Round(time.Minute) / time.Minute)
	switch {
	case d < 90*time.Second:
		return fmt.Sprintf("%.0f s", d.Seconds())
	case m < 60:
		return fmt.Sprintf("%d min", m)
	}
	return fmt.Sprintf("%d h %02d min", m/60, m%60)
}
