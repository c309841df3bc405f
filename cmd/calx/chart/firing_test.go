package chart

import (
	"math"
	"time"

	"calx/storage/record"
)

// Invented data, by simple formulas: ramps and holds, a measured curve that
// lags and rings, one point a minute.

func night() time.Time {
	return time.Date(2026, 4, 14, 18, 0, 0, 0, time.FixedZone("CEST", 2*3600))
}

var corners = []PlanPoint{
	{0, 20}, {130 * time.Minute, 150}, {250 * time.Minute, 150}, {426 * time.Minute, 370}, {546 * time.Minute, 370},
	{721 * time.Minute, 720}, {961 * time.Minute, 720}, {1069 * time.Minute, 540}, {1210 * time.Minute, 540},
}

func plannedAt(t time.Duration) float64 {
	for i := 1; i < len(corners); i++ {
		a, b := corners[i-1], corners[i]
		if t <= b.Since {
			return a.C + (b.C-a.C)*float64(t-a.Since)/float64(b.Since-a.Since)
		}
	}
	return corners[len(corners)-1].C
}

func invented() Firing {
	f := Firing{Title: "woody pods, two 90 mm flasks", Start: night(), CeilingC: 735}
	end := corners[len(corners)-1].Since
	lag := plannedAt(0)
	for t := time.Duration(0); t <= end; t += time.Minute {
		set := plannedAt(t)
		lag += (set - lag) / 9
		hot := lag + 2*math.Sin(t.Minutes()/7)
		slope := plannedAt(t+time.Minute) - set
		duty := math.Max(0, math.Min(1, hot/1100+slope/4+0.02*math.Sin(t.Minutes()*1.7)))
		f.Points = append(f.Points, Point{t, hot, set, duty})
	}
	f.Events = []Mark{
		{0, "firing started: woody pods", record.Info},
		{130 * time.Minute, "hold 150 °C for 2 h", record.Info},
		{250 * time.Minute, "heat to 370 °C at 75 °C/h", record.Info},
		{426 * time.Minute, "hold until core within 15 °C, at most 3 h", record.Info},
		{546 * time.Minute, "heat to 720 °C at 120 °C/h", record.Info},
		{655 * time.Minute, "the kiln cannot follow: the plan waits for it (setpoint 596 °C, chamber 581 °C)", record.Warn},
		{721 * time.Minute, "hold until clear 95%, at least 3 h, at most 10 h", record.Info},
		{961 * time.Minute, "cool to 540 °C at 100 °C/h", record.Info},
		{1069 * time.Minute, "ready to pour: chamber 541 °C, core 548 °C", record.Info},
	}
	return f
}

// troubled is a firing with everything that can go wrong: a spike of one
// reading, a long gap, a trip amid a burst of notices, and further curves.
func troubled() Firing {
	f := invented()
	f.Points = f.Points[:800]
	f.Points[300].HotC = 640
	for i := 500; i < 560; i++ {
		f.Points[i].HotC, f.Points[i].Duty = math.NaN(), math.NaN()
	}
	f.Points[620].HotC = math.NaN()
	var core, water Series
	core.Name = "core"
	water.Name, water.Fraction = "water left", true
	c := 20.0
	for _, p := range f.Points {
		c += (p.SetpointC - c) / 90
		core.Samples = append(core.Samples, Sample{p.Since, c})
		water.Samples = append(water.Samples, Sample{p.Since, 1 / (1 + math.Exp((c-100)/8))})
	}
	f.Extra = []Series{core, water}
	f.Events = append(f.Events[:6],
		Mark{500 * time.Minute, "thermocouple open circuit (3 readings in a row, last good 370 °C); heater is off", record.Alarm},
		Mark{500*time.Minute + time.Second, "heat is off until a reading comes back", record.Warn},
		Mark{501 * time.Minute, "power cut, resumed after 58 min", record.Warn},
		Mark{798 * time.Minute, "chamber 741 °C is above the ceiling of 735 °C; heater is off and stays off", record.Alarm},
		Mark{799 * time.Minute, "stopped by the guard", record.Alarm},
	)
	return f
}
