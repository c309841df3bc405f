package bench_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/controller"
	"calx/controller/relay"
	"calx/profile"
	"calx/sim/bench"
	"calx/sim/chip"
	"calx/sim/kiln"
	"calx/sim/quantity"
)

// healthy is a night in which nothing is wrong, and all that is imperfect
// without being wrong. Its figures are invented, within what a workshop sees.
type healthy struct {
	seed  uint64
	name  string // of the kiln
	file  kiln.Params
	real  kiln.Params
	kind  relay.Kind
	text  string // of the profile
	night night
}

// dice draws.
type dice struct{ *rand.Rand }

func (d dice) in(least, most float64) float64 { return least + (most-least)*d.Float64() }
func (d dice) chance(p float64) bool          { return d.Float64() < p }

// about is 1, give or take a standard deviation, and never more than twice that.
func (d dice) about(sd float64) float64 {
	return 1 + sd*math.Max(-2, math.Min(2, d.NormFloat64()))
}

// newHealthy draws a night.
func newHealthy(tb testing.TB, seed uint64) healthy {
	d := dice{rand.New(rand.NewPCG(seed, 99))}
	names := kiln.Shipped()
	h := healthy{seed: seed, name: names[d.IntN(len(names))], kind: []relay.Kind{relay.SolidState, relay.Contactor}[d.IntN(2)]}
	h.file = shipped(tb, h.name)
	h.real = shipped(tb, h.name)
	h.text = d.profile(tb)
	d.differ(&h)
	pr, err := profile.Parse(h.text)
	require.NoError(tb, err)
	line := profile.Unroll(pr, profile.Outlook{StartC: 20, FullRateCPerH: h.file.Envelope(20).FullPowerRate, CoolRateCPerH: h.file.Envelope(20).CoolRate})
	h.night = night{noSwitch: d.chance(0.5), options: bench.Options{
		AmbientC: d.in(5, 35), Seed: seed, MainsSwing: d.in(0, 0.03), Ideal: d.chance(0.2), Model: []chip.Model{chip.MAX31855, chip.MAX31856}[d.IntN(2)],
		WaterKg: d.water(h), Mishaps: d.mishaps(h.real.RatedW(), line.Expected),
	}}
	if d.chance(0.2) {
		h.night.options.Second = &bench.Second{Model: chip.MAX31855, Spread: d.in(-0.015, 0.015)}
	}
	return h
}

// differ makes the kiln another than its file says: by what a fit leaves, or by
// what a nameplate and a tape measure leave. What stands in it differs anyway.
func (d dice) differ(h *healthy) {
	power, wall := 0.02, 0.05
	if d.chance(0.7) {
		h.file.Fitted = &kiln.Fitted{Doubt: quantity.Fraction(0.05)}
	} else {
		power, wall = 0.04, 0.1
	}
	h.real.Elements.Rated *= quantity.Power(d.about(power))
	for i := range h.real.Walls {
		conducts, holds := quantity.Ratio(d.about(wall)), quantity.Ratio(d.about(wall))
		h.real.Walls[i].Conducts, h.real.Walls[i].Holds = &conducts, &holds
	}
	h.real.Shell.Bridges *= quantity.Conductance(d.about(wall))
	h.real.Air.Leakage *= quantity.Frequency(d.about(0.2))
	share := d.in(0.5, 1.4) // of the load that the file says
	h.real.Load.Mass *= quantity.Mass(share)
	h.real.Load.Area *= quantity.Area(math.Pow(share, 2./3))
	h.real.Load.Inside *= quantity.Conductance(math.Pow(share, 1./3))
	h.real.Probe.Immersion *= quantity.Length(d.about(0.05))
	h.real.Probe.InnerLag *= quantity.Duration(d.about(0.15))
	h.real.Probe.Emissivity = quantity.Fraction(math.Min(float64(h.real.Probe.Emissivity)*d.about(0.05), 0.95))
}

// water is what is left in moulds that have been dewaxed, kg, which are part of
// the load only. Nobody heats a wet mould as fast as the kiln can.
func (d dice) water(h healthy) float64 {
	if strings.Contains(h.text, "Too fast for a wet flask") {
		return 0
	}
	return float64(h.real.Load.Mass) * d.in(0, 0.1)
}

// profile is one that comes with calx, or one made up.
func (d dice) profile(tb testing.TB) string {
	known := []string{"fast", "fast", "reheat", "steep", "slow", "long-holds"}
	if i := d.IntN(12); i < len(known) {
		text, err := profile.ShippedText(known[i])
		require.NoError(tb, err)
		return text
	}
	topC := d.in(550, 730)
	text := fmt.Sprintf("never above 735 C\nheat to %.0f C at %.0f C/h\nhold %.0f min\n", d.in(120, 200), d.in(60, 200), d.in(15, 60))
	if d.chance(0.3) {
		text += fmt.Sprintf("air on\nheat to %.0f C as fast as possible\nhold %.0f min\nair off\n", d.in(300, 450), d.in(10, 40))
	}
	text += fmt.Sprintf("heat to %.0f C at %.0f C/h\nhold %.0f min\n", topC, d.in(80, 300), d.in(20, 90))
	switch d.IntN(3) {
	case 0:
		text += fmt.Sprintf("cool to %.0f C at %.0f C/h\nhold 20 min\n", topC-d.in(50, 150), d.in(60, 200))
	case 1:
		text += fmt.Sprintf("cool to %.0f C unpowered\nhold 20 min\nheat to %.0f C at 150 C/h\nhold 10 min\n", topC-d.in(50, 150), topC)
	}
	return text
}

// mishaps are what happens in a workshop without anything being wrong.
func (d dice) mishaps(ratedW float64, lasts time.Duration) (ms []bench.Mishap) {
	some := func(most int, kind string, value func() float64, leastS, mostS float64) {
		for range d.IntN(most + 1) {
			ms = append(ms, bench.Mishap{Kind: kind, At: time.Duration(d.Float64() * float64(lasts)), Value: fmt.Sprintf("%.5g", value()),
				For: time.Duration(d.in(leastS, mostS)) * time.Second})
		}
	}
	some(3, "door", func() float64 { return d.in(0.2, 1) }, 10, 180)
	some(3, "mains", func() float64 { return d.in(0.88, 1.06) }, 1, 5400)
	some(2, "burning", func() float64 { return d.in(0.02, 0.1) * ratedW }, 600, 7200)
	some(1, "clock", func() float64 { return d.in(-7200, 7200) }, 1, 2)
	some(2, "open", func() float64 { return 0 }, 1, 6)
	if d.chance(0.3) {
		ms = append(ms, bench.Mishap{Kind: "noisy", Value: fmt.Sprintf("%.3g", d.in(0.1, 1))})
	}
	if d.chance(0.3) {
		ms = append(ms, bench.Mishap{Kind: "bit_flips", Value: fmt.Sprintf("%.3g", d.in(1e-5, 5e-4))})
	}
	return ms
}

// longestNight is when a night that does not end counts as one that went wrong.
const longestNight = 60 * time.Hour

// fire runs it and says how it went; "" is well.
func (h healthy) fire(tb testing.TB) string {
	house := newHouse(tb, h.real, h.file, h.kind, h.text)
	var said string
	n := h.night
	n.tick = func(b *bench.Bench, s controller.State, o controller.Output) bool {
		for _, e := range o.Events {
			if s.TripCode != "" && e.Code == s.TripCode {
				said = fmt.Sprintf("%s after %v, chamber %.0f °C: %s", e.Code, e.Since.Round(time.Second), b.Truth().JunctionC, e.Text)
			}
		}
		return o.Ended || b.Mono() > longestNight
	}
	end := house.run(tb, n)
	switch {
	case said == "" && end.Outcome() != "finished":
		return fmt.Sprintf("no end after %v, in step %d", longestNight, end.Plan.Step+1)
	case said != "":
		return said
	}
	return ""
}

func (h healthy) String() string {
	return fmt.Sprintf("night %d: %s, %v, %s, fitted %t, load %.1f of %.1f kg, water %.1f kg, room %.0f °C, mishaps %v", h.seed, h.name, h.kind,
		strings.ReplaceAll(h.text, "\n", "; "), h.file.Fitted != nil, float64(h.real.Load.Mass), float64(h.file.Load.Mass), h.night.options.WaterKg, h.night.options.AmbientC, h.night.options.Mishaps)
}

// onceEnded are nights that a guard ended once: a door a quarter open that a
// switch reports as open; a quiet chip in a kiln that has hardly begun to warm;
// a heavy load that is wet for hours, or dry at once; a weak kiln that loses a
// frame every minute; a chamber that turns round after the door was open.
var onceEnded = []uint64{13, 168, 244, 264, 418, 671, 697, 937, 1425, 1523}

// nights are the seeds asked for: "1000" is 1 to 1000, "1001-2000" those.
func nights(tb testing.TB, asked string) (seeds []uint64) {
	if asked == "" {
		return append([]uint64{1, 2, 3, 4}, onceEnded...)
	}
	from, to, both := strings.Cut(asked, "-")
	if !both {
		from, to = "1", asked
	}
	a, err := strconv.ParseUint(from, 10, 32)
	require.NoError(tb, err)
	b, err := strconv.ParseUint(to, 10, 32)
	require.NoError(tb, err)
	for s := a; s <= b; s++ {
		seeds = append(seeds, s)
	}
	return seeds
}

// TestHealthyNights fires nights in which nothing is wrong: no guard may end
// one. CALX_NIGHTS says which.
func TestHealthyNights(t *testing.T) {
	if testing.Short() {
		t.Skip("long: whole nights")
	}
	t.Parallel()
	seeds := nights(t, os.Getenv("CALX_NIGHTS"))
	n := len(seeds)
	bad := make([]string, n)
	together(t, n, func(i int) string { return strconv.FormatUint(seeds[i], 10) }, func(tb testing.TB, i int) {
		h := newHealthy(tb, seeds[i])
		if bad[i] = h.fire(tb); bad[i] != "" {
			assert.Fail(tb, bad[i], h.String())
		}
	})
	k := 0
	for _, b := range bad {
		if b != "" {
			k++
		}
	}
	if os.Getenv("CALX_NIGHTS") != "" {
		fmt.Printf("%d of %d healthy nights were ended by a guard; the true share is below %.2f %% (95 %%, Wilson)\n", k, n, 100*wilson(k, n))
	}
}

// wilson is the upper end of the 95 % confidence interval of a share of which k
// in n were seen. E. B. Wilson, Probable inference, the law of succession, and
// statistical inference, Journal of the American Statistical Association 22
// (1927) 209-212.
func wilson(k, n int) float64 {
	const z = 1.959964
	p, m := float64(k)/float64(n), float64(n)
	return (p + z*z/(2*m) + z*math.Sqrt(p*(1-p)/m+z*z/(4*m*m))) / (1 + z*z/m)
}

// The worked value of the literature: 0 of n gives z²/(n+z²), and 3.70 % for 0
// of 100.
func TestWilson(t *testing.T) {
	assert.InDelta(t, 0.0370, wilson(0, 100), 5e-5)
	assert.InDelta(t, 1, wilson(7, 7), 1e-12)
}
