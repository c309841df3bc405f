package health

import (
	"math"
	"time"

	"calx/cmd/calx/summary"
	"calx/storage/record"
)

// spread gathers the difference of two thermocouples by ten minutes: within
// them it is noise, between them what the kiln does.
type spread struct {
	from  time.Duration
	sum   float64
	n     int
	means []float64
}

const (
	hotC       = 400.0 // a probe that drifts does so hot, and reads wrong there
	spreadTime = 10 * time.Minute
)

func (s *spread) add(at time.Duration, chamberC, apart float64) {
	if !(chamberC >= hotC) || math.IsNaN(apart) {
		return
	}
	if s.n > 0 && at-s.from >= spreadTime {
		s.means = append(s.means, s.sum/float64(s.n))
		s.sum, s.n = 0, 0
	}
	if s.n == 0 {
		s.from = at
	}
	s.sum += apart
	s.n++
}

func (s *spread) estimate() Estimate {
	const least = 4
	if len(s.means) < least {
		return unknown()
	}
	mean, sd := meanSD(s.means)
	return Estimate{summary.Number(mean), summary.Number(sd / math.Sqrt(float64(len(s.means))))}
}

func meanSD(v []float64) (mean, sd float64) {
	for _, x := range v {
		mean += x / float64(len(v))
	}
	for _, x := range v {
		sd += (x - mean) * (x - mean)
	}
	return mean, math.Sqrt(sd / float64(len(v)-1))
}

// quartzC is the inversion of quartz, low to high, °C: 573 (R. B. Sosman, The
// Phases of Silica, 1965).
const quartzC = 573.0

// coreWatch times a core as it passes each degree around the inversion: there
// quartz takes up heat, and the core dwells.
type coreWatch struct {
	channel int
	at      [coreTo - coreFrom + 1]time.Duration // first time at or above each degree
	next    int
}

const coreFrom, coreTo = 540, 606

func (c *coreWatch) add(r *record.Reading) {
	if c.channel < 0 || c.channel >= len(r.Channels) || !good(r.Channels[c.channel]) {
		return
	}
	for v := r.Channels[c.channel].HotC; c.next < len(c.at) && v >= float64(coreFrom+c.next); c.next++ {
		c.at[c.next] = r.Since
	}
}

// inversion is where the core dwelt longest over 4 °C, if that stands out from
// the straight line of all dwells by four times their scatter and more.
func (c *coreWatch) inversion() Estimate {
	const over, clear = 4, 4.0
	if c.next < len(c.at) {
		return unknown()
	}
	var x, dwell []float64
	for i := 0; i+over < len(c.at); i++ {
		x = append(x, float64(coreFrom+i)+over/2)
		dwell = append(dwell, (c.at[i+over] - c.at[i]).Seconds())
	}
	// The line is drawn through what lies away from the inversion.
	var fx, fy []float64
	for i := range x {
		if math.Abs(x[i]-quartzC) > 15 {
			fx, fy = append(fx, x[i]), append(fy, dwell[i])
		}
	}
	l, err := Fit(fx, fy)
	if err != nil || !(l.ResidualSD > 0) {
		return unknown()
	}
	best, at := clear*l.ResidualSD, -1
	for i := range x {
		if d := dwell[i] - l.At(x[i]); d > best && math.Abs(x[i]-quartzC) <= 15 {
			best, at = d, i
		}
	}
	if at < 0 {
		return unknown()
	}
	return Estimate{summary.Number(x[at]), summary.Number(over / 2)}
}
