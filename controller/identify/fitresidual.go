package identify

import (
	"math"
	"slices"
)

// slowSteps of a trace make one residual, their mean. What is quicker is left
// out: the controller answers every wandering of the mains within minutes, and
// a model that is asked about minutes takes that answer for a lag of the kiln
// (Ljung, System Identification, 2nd edition 1999, section 13.4, on closed
// loops). How long heat takes to the probe shows well enough where a ramp
// begins and ends.
const slowSteps = 30

// scatter is how far residuals usually are off.
type scatter struct {
	sdC float64 // standard deviation, °C
	// tau is the integrated autocorrelation time: of how many values in a row
	// one is news. A series of n says as much as n/tau independent ones
	// (Sokal, Monte Carlo Methods in Statistical Mechanics, 1989, section 3).
	tau float64
}

// weight makes residuals so large that their squares add up as those
// of independent ones of variance 1.
func (b scatter) weight() float64 { return 1 / (b.sdC * math.Sqrt(b.tau)) }

// slowMeans are the means over the slow stretches of which at least half is
// told, so that there are as many whatever the parameters are.
func (t *trace) slowMeans(missC []float64, use func(tick) bool) (out []float64) {
	for from := 0; from+slowSteps <= len(missC); from += slowSteps {
		if mean, n := t.mean(missC, from, slowSteps, use); 2*n >= slowSteps {
			out = append(out, mean)
		}
	}
	return out
}

func (t *trace) mean(missC []float64, from, steps int, use func(tick) bool) (mean float64, n int) {
	sum := 0.0
	for k := from; k < from+steps; k++ {
		if t.steps[k].told() && use(t.steps[k]) {
			sum += missC[k]
			n++
		}
	}
	return sum / float64(n), n
}

// measure finds how far and for how long residuals are off. They are never
// taken to be better than least.
func measure(series [][]float64, least scatter) scatter {
	all := slices.Concat(series...)
	b := scatter{sdC: math.Max(1.4826*medianSize(all), least.sdC), tau: 1}
	// The deviation goes by the median, so that a stretch which nothing
	// explains does not speak for the rest; 1.4826 makes it that of a normal
	// distribution.
	var square float64
	n := 0
	for _, v := range all {
		if math.Abs(v) < outlier*b.sdC {
			square += v * v
			n++
		}
	}
	if n > 0 {
		b.sdC = math.Max(math.Sqrt(square/float64(n)), least.sdC)
	}
	b.tau = math.Max(autocorrelation(series, outlier*b.sdC), least.tau)
	return b
}

// autocorrelation is the integrated autocorrelation time of the series, about
// zero and clipped, by Geyer's initial positive sequence (Statistical Science 7
// (1992) 473): sums of two neighbours are added while they are positive.
func autocorrelation(series [][]float64, clip float64) float64 {
	at := func(lag int) float64 {
		sum := 0.0
		for _, s := range series {
			for i := lag; i < len(s); i++ {
				sum += math.Max(-clip, math.Min(s[i], clip)) * math.Max(-clip, math.Min(s[i-lag], clip))
			}
		}
		return sum
	}
	zero := at(0)
	if zero == 0 {
		return 1
	}
	longest := 0
	for _, s := range series {
		longest = max(longest, len(s))
	}
	tau := -1.0
	for lag := 0; lag < longest/2; lag += 2 {
		pair := (at(lag) + at(lag+1)) / zero
		if pair <= 0 {
			break
		}
		tau += 2 * pair
	}
	return math.Max(tau, 1)
}

// outlier is from how many standard deviations on a residual counts less, as
// Huber's estimator has it (Robust Statistics, 1981): 1.5 costs 4 % of the
// information when there are none.
const outlier = 2.5

// trust is the square root of the weight that Huber's estimator gives.
func trust(v, sdC float64) float64 {
	if a := math.Abs(v); a > outlier*sdC {
		return math.Sqrt(outlier * sdC / a)
	}
	return 1
}

func medianSize(v []float64) float64 {
	if len(v) == 0 {
		return 0
	}
	s := make([]float64, len(v))
	for i, x := range v {
		s[i] = math.Abs(x)
	}
	slices.Sort(s)
	return s[len(s)/2]
}
