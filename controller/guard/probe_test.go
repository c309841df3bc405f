package guard

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/controller/notice"
	"calx/sensor"
)

// told looks until a guard tells something of that code.
func told(h History, l *Limits, n int, code string, look func(i int) Look) int {
	for i := range n {
		h = h.After(l, look(i))
		_, tells := Ask(l, &h)
		for _, f := range tells {
			if f.Code == code {
				return i
			}
		}
	}
	return -1
}

func TestSmallSlip(t *testing.T) {
	l := limits()
	slip := func(byC float64) func(int) Look {
		return func(i int) Look {
			if i < 20 {
				return plain(400)
			}
			return plain(400 - byC)
		}
	}
	assert.Equal(t, 21, told(at(l, 400), l, 60, notice.ProbeSlipped, slip(11)), "the second reading after it")
	assert.Equal(t, 21, told(at(l, 400), l, 60, notice.ProbeSlipped, slip(4.5)))
	assert.Equal(t, -1, told(at(l, 400), l, 60, notice.ProbeSlipped, slip(3)))
	assert.Equal(t, -1, told(at(l, 400), l, 60, notice.ProbeSlipped, func(i int) Look {
		return plain(400 - 2.5*math.Min(float64(i), 20)) // the door is thrown open
	}))
	assert.Equal(t, -1, told(at(l, 400), l, 60, notice.ProbeSlipped, func(i int) Look {
		if i == 20 {
			return plain(391) // one frame
		}
		return plain(400)
	}))
	// What is lost counts against the ceiling of 735 °C and its 10 °C.
	h := run(at(l, 730), l, 40, func(i int) Look {
		if i < 20 {
			return plain(730)
		}
		return plain(719)
	})
	i, f := firstTrip(h, l, 60, func(i int) Look { return plain(719 + 0.5*float64(i)) })
	assert.Equal(t, notice.AboveCeiling, f.Code)
	assert.InDelta(t, 33, i, 3, "at 735 °C, which may be 746 °C")
}

func TestNoisyReading(t *testing.T) {
	l := limits()
	jitter := func(c float64) func(int) Look {
		return func(i int) Look { return plain(400 + c*[]float64{1, -1, -1, 1, -1, 1, 1, -1}[i%8]) }
	}
	assert.Equal(t, -1, told(at(l, 400), l, 900, notice.NoisyReading, jitter(0.5)))
	assert.Positive(t, told(at(l, 400), l, 900, notice.NoisyReading, jitter(3)))
	assert.Equal(t, -1, told(at(l, 400), l, 900, notice.NoisyReading, func(i int) Look { return plain(400 + 0.5*float64(i%900)) }), "a steep ramp is no noise")
}

func TestColdJunction(t *testing.T) {
	l := limits()
	cold := func(c float64) func(int) Look {
		return func(int) Look {
			k := plain(400)
			k.Reading.ColdC = c
			return k
		}
	}
	assert.Equal(t, -1, told(at(l, 400), l, 200, notice.ColdJunction, cold(54)))
	assert.InDelta(t, 60, told(at(l, 400), l, 200, notice.ColdJunction, cold(56)), 2)
	i, f := firstTrip(at(l, 400), l, 200, cold(sensor.MaxColdC+1))
	assert.Equal(t, notice.ColdJunction, f.Code)
	assert.InDelta(t, 9, i, 2)
}

func TestTwoThermocouples(t *testing.T) {
	l := limits()
	both := func(hotC, otherC float64) func(int) Look {
		return func(int) Look {
			k := plain(hotC)
			k.Check, k.Checked = ok(otherC), true
			return k
		}
	}
	i, _ := firstTrip(at(l, 600), l, 600, both(600, 638))
	assert.Equal(t, -1, i, "within 15 °C and 4 %")
	i, f := firstTrip(at(l, 600), l, 600, both(600, 641))
	assert.Equal(t, notice.ProbesApart, f.Code)
	assert.InDelta(t, 180, i, 2)
	h := run(at(l, 600), l, 30, both(600, 641))
	assert.Equal(t, Withhold, judge(l, h).Verdict, "no heat after 20 s")
	i, f = firstTrip(at(l, 720), l, 600, both(720, 746))
	assert.Equal(t, notice.AboveCeiling, f.Code, "the hotter one counts for the ceiling")
	assert.Equal(t, 2, i)
	k := both(600, 900)(0)
	k.Check = sensor.Failed(0, sensor.Open)
	i, _ = firstTrip(at(l, 600), l, 600, func(int) Look { return k })
	assert.Equal(t, -1, i, "one that does not read checks nothing")
}

func TestDoor(t *testing.T) {
	l := limits()
	k := plain(600)
	k.Door = sensor.DoorOpen
	h := at(l, 600).After(l, k)
	f := judge(l, h)
	require.Equal(t, Withhold, f.Verdict, "at once")
	assert.Equal(t, notice.DoorOpen, f.Code)
	k.Door = sensor.DoorShut
	assert.Equal(t, Fine, judge(l, h.After(l, k)).Verdict)
	k.Door = sensor.DoorOpen
	assert.InDelta(t, 600, told(at(l, 600), l, 900, notice.DoorLong, func(int) Look { return k }), 2)
}

func TestCharLeft(t *testing.T) {
	l := limits()
	l.CeilingC = 0
	char := func(c, left float64) func(int) Look {
		return func(int) Look {
			k := plain(c)
			k.Inside = Inside{Known: true, Char: left}
			return k
		}
	}
	assert.Equal(t, Fine, judge(l, run(at(l, 734), l, 90, char(734, 0.1))).Verdict)
	f := judge(l, at(l, 736).After(l, char(736, 0.1)(0)))
	assert.Equal(t, Withhold, f.Verdict)
	assert.Equal(t, notice.CharLeft, f.Code)
	i, f := firstTrip(at(l, 756), l, 200, char(756, 0.1))
	assert.Equal(t, notice.CharLeft, f.Code)
	assert.InDelta(t, 60, i, 2)
	assert.Equal(t, Fine, judge(l, run(at(l, 800), l, 90, char(800, 0))).Verdict, "clear: it may go on")
}

func TestTooFastForTheMould(t *testing.T) {
	l := limits()
	l.CeilingC = 0
	at300 := func(fromC, perH, water float64) Finding {
		h := run(at(l, fromC), l, 301, func(i int) Look {
			k := plain(fromC + perH*float64(i)/3600)
			k.On, k.Duty, k.Inside = true, 0.5, Inside{Known: true, Water: water}
			return k
		})
		return judge(l, h)
	}
	assert.Equal(t, notice.SteamFast, at300(100, 300, 0.5).Code)
	assert.Equal(t, Fine, at300(100, 200, 0.5).Verdict)
	assert.Equal(t, Fine, at300(100, 300, 0).Verdict, "dry")
	assert.Equal(t, notice.InvertFast, at300(540, 600, 0).Code)
	assert.Equal(t, Fine, at300(540, 360, 0).Verdict)
	assert.Equal(t, Fine, at300(400, 900, 0).Verdict, "between the inversions")
}
