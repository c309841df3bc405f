package health

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/cmd/calx/summary"
	"calx/storage/record"
)

// months are firings whose elements lose so much each, with some scatter.
func months(n int, each float64) []Entry {
	var out []Entry
	for i := range n {
		f := Figures{Version: figuresVersion, PeakC: 720, Cycles: 900 + uint64(i%7)*10, Second: unknown(), Inversion: unknown()}
		f.Power = Estimate{summary.Number(1 - each*float64(i) + 0.004*math.Sin(9*float64(i))), 0.01}
		f.Loss = Estimate{summary.Number(1 + 0.005*math.Cos(7*float64(i))), 0.01}
		out = append(out, Entry{ID: uint64(i + 1), Started: time.Date(2026, 1, 1+i, 0, 0, 0, 0, time.UTC), Figures: f})
	}
	return out
}

// What is found is what was put in, and the interval of the forecast holds the
// truth.
func TestReport(t *testing.T) {
	p := shipped(t, "bench-9l-brick")
	r := Look(p, months(30, 0.01))
	assert.True(t, r.Power.Told)
	assert.InDelta(t, -0.01, float64(r.Power.Each), 5e-4)
	assert.InDelta(t, 1-0.29, float64(r.Power.Now.Value), 0.01)
	assert.False(t, r.Loss.Told)
	require.NotNil(t, r.Reach)
	duty := p.BalanceDuty(720)
	truth := (1-duty)/0.01 - 29
	assert.GreaterOrEqual(t, truth, float64(r.Reach.From))
	assert.LessOrEqual(t, truth, float64(r.Reach.To))
	assert.InDelta(t, duty/0.71, float64(r.HoldDuty)*p.BalanceDuty(720)/p.BalanceDuty(r.HoldC), 0.02)
	require.NotNil(t, r.Relay)
	each := float64(r.Cycles) / 30
	assert.InDelta(t, (float64(p.Relay.RatedCycles)-float64(r.Cycles))/each, float64(r.Relay.In), 5)
}

// New elements and a new relay begin anew; the line before them is not theirs.
func TestNewParts(t *testing.T) {
	p := shipped(t, "bench-9l-brick")
	old, fresh := months(30, 0.01), months(12, 0.01)
	for i := range fresh {
		fresh[i].ID, fresh[i].Started = fresh[i].ID+30, fresh[i].Started.AddDate(0, 2, 0)
	}
	all := append(old, fresh...)
	blind := Look(p, all)
	p.Elements.New, p.Relay.New = "2026-03-01", "2026-03-01"
	r := Look(p, all)
	assert.Equal(t, 42, r.Firings)
	assert.Len(t, r.Power.Points, 12)
	assert.Len(t, r.Loss.Points, 42, "the seal is the old one")
	assert.InDelta(t, 1-0.11, float64(r.Power.Now.Value), 0.01)
	assert.InDelta(t, -0.01, float64(r.Power.Each), 1e-3)
	assert.Greater(t, float64(blind.Power.Each), -0.005, "without the day the line lies across both")
	var cycles uint64
	for _, e := range fresh {
		cycles += e.Figures.Cycles
	}
	assert.Equal(t, cycles, r.Cycles)
	assert.Contains(t, r.Words(Units{}).Parts[0].Blind, "Counted from 1 Mar 2026 on")
	p.Elements.New = "2026-05-01"
	assert.Empty(t, Look(p, all).Power.Points, "none since")
}

func TestReportOfLittle(t *testing.T) {
	p := shipped(t, "bench-9l-brick")
	r := Look(p, months(2, 0.01))
	assert.False(t, r.Power.Told)
	assert.Nil(t, r.Reach, "two firings tell no trend")
	assert.False(t, r.Power.Each.Known())
	r = Look(p, months(30, 0))
	assert.False(t, r.Power.Told)
	assert.Nil(t, r.Reach, "what does not fall is never out of reach")
	p.Relay.Kind = "ssr"
	assert.Zero(t, Look(p, months(5, 0)).Rated, "nothing moves in a solid-state relay")
	assert.Zero(t, Look(p, nil).Firings)
}

func TestFiguresAreKept(t *testing.T) {
	f := months(1, 0)[0].Figures
	f.PeakC = summary.Unknown()
	got, ok := Decode(f.Encode())
	require.True(t, ok)
	assert.Equal(t, f.Power, got.Power)
	assert.False(t, got.PeakC.Known())
	_, ok = Decode([]byte(`{"v":0}`))
	assert.False(t, ok, "of another version")
	_, ok = Decode([]byte(`x`))
	assert.False(t, ok)
}

// The inversion of quartz at 573 °C (Sosman, The Phases of Silica, 1965) holds
// a core up for a while; a core without quartz passes it.
func TestInversion(t *testing.T) {
	core := func(dwell bool) Estimate {
		m := NewMeter(record.Firing{Channels: []record.Channel{{Role: "chamber"}, {Role: "witness"}}})
		c := 500.0
		for i := 0; c < 650; i++ {
			rate := 0.03
			if d := math.Abs(c - 573); dwell && d < 4 {
				rate = 0.012
			}
			c += rate
			noise := 0.05 * math.Sin(float64(i)*1.7)
			m.Add(&record.Reading{Seq: uint64(i), Since: time.Duration(i) * time.Second, Channels: []record.Sample{{HotC: 650}, {HotC: c + noise}}})
		}
		return m.Figures(nil, "").Inversion
	}
	seen := core(true)
	require.True(t, seen.Value.Known())
	assert.InDelta(t, 573, float64(seen.Value), 3)
	assert.False(t, core(false).Value.Known())
}

// A second thermocouple that reads lower shows by how much, hot only.
func TestSecond(t *testing.T) {
	m := NewMeter(record.Firing{Channels: []record.Channel{{Role: "chamber"}, {Role: "chamber 2"}}})
	for i := range 10000 {
		c := 300 + float64(i)/20
		apart := 0.0
		if c > 350 {
			apart = 4
		}
		m.Add(&record.Reading{Seq: uint64(i), Since: time.Duration(i) * time.Second, Channels: []record.Sample{{HotC: c}, {HotC: c - apart}}})
	}
	assert.InDelta(t, 4, float64(m.Figures(nil, "").Second.Value), 1e-9)
}
