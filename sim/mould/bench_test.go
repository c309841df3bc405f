package mould

import "testing"

// One flask over 24 h at the default grid: heat alone, as a plan needs it.
func BenchmarkFlaskDay(b *testing.B) {
	m := compile(b, sleeved(100, 150, woodyStem))
	s := m.Start(20)
	b.ReportAllocs()
	for b.Loop() {
		m.Forecast(s, stepped, 24*3600, 24*3600, func(float64, *Reading) bool { return true })
	}
}

// The observer as a firing calls it: once a second, a reading after each.
func BenchmarkObserverSecond(b *testing.B) {
	m := compile(b, sleeved(100, 150, woodyStem))
	s := m.Start(20)
	var r Reading
	tS := 0.0
	b.ReportAllocs()
	for b.Loop() {
		if tS++; tS > 24*3600 {
			s, tS = m.Start(20), 0
		}
		c, on := stepped(tS)
		m.Step(&s, 1, c, on)
		m.ReadInto(&s, &r)
	}
}

// The dearest call of the observer: the one whose internal step is due.
func BenchmarkObserverStepDue(b *testing.B) {
	m := compile(b, sleeved(100, 150, woodyStem))
	s := m.Start(20)
	tS := 0.0
	b.ReportAllocs()
	for b.Loop() {
		if tS += observerS; tS > 24*3600 {
			s, tS = m.Start(20), 0
		}
		c, on := stepped(tS)
		m.Step(&s, observerS, c, on)
	}
}

// A forecast from the middle of a firing to its end, a reading every 2 min.
func BenchmarkForecast(b *testing.B) {
	m := compile(b, sleeved(100, 150, woodyStem))
	s := m.Forecast(m.Start(20), stepped, 4*3600, 4*3600, func(float64, *Reading) bool { return true })
	b.ReportAllocs()
	for b.Loop() {
		m.Forecast(s, stepped, 16*3600, 120, func(float64, *Reading) bool { return true })
	}
}

// One sample of a Monte Carlo over the pieces on a given track.
func BenchmarkBurnSample(b *testing.B) {
	m := compile(b, sleeved(100, 150, woodyStem))
	track := m.Track(m.Start(20), stepped, 24*3600)
	for b.Loop() {
		m.Vary(Variation{0.7, 1, 1, 1}).Burn(track)
	}
}

func BenchmarkPourWindow(b *testing.B) {
	m := compile(b, sleeved(100, 150, woodyStem))
	s := m.Start(540)
	for b.Loop() {
		m.PourWindow(&s, 0, 20, 450, 7200)
	}
}
