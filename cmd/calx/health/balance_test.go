package health

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/cmd/calx/whatif"
	"calx/controller"
	"calx/controller/identify"
	"calx/controller/relay"
	"calx/profile"
	"calx/sim/bench"
	"calx/sim/kiln"
	"calx/sim/quantity"
	"calx/storage/record"
)

const evening = "heat to 150 C at 100 C/h\nhold 1 h\nheat to 500 C at 150 C/h\nhold 1 h\nheat to 720 C at 120 C/h\nhold 2 h\ncool to 600 C unpowered\n"

func shipped(t testing.TB, name string) kiln.Params {
	text, err := kiln.ShippedFile(name)
	require.NoError(t, err)
	p, err := kiln.Load(name, text)
	require.NoError(t, err)
	return p
}

// fire is a firing on a kiln that is not quite as calx was told.
func fire(t testing.TB, told, is kiln.Params, elements float64) (record.Firing, []record.Reading) {
	p, err := profile.Parse(evening)
	require.NoError(t, err)
	plant := identify.Plant(told, 20)
	c := controller.Config{Profile: p, Plant: plant, Relay: relay.DefaultConfig(relay.Contactor), Guard: identify.Guard(told, plant)}
	c.Guard.Twin = nil // what follows would trip it
	r, err := whatif.Run(whatif.Firing{Control: c, Kiln: is, Chip: "max31855", StartC: 20, RoomC: 20, Seed: 1, Start: time.Unix(1e9, 0),
		Mishaps: []bench.Mishap{{Kind: "elements", Value: fmt.Sprint(elements)}}})
	require.NoError(t, err)
	require.Equal(t, "finished", r.Outcome, "%v", r.Events[len(r.Events)-1])
	return record.Firing{Channels: []record.Channel{{Role: "chamber"}}}, r.Readings
}

func measured(head record.Firing, rs []record.Reading, k kiln.Params) Figures {
	m := NewMeter(head)
	for i := range rs {
		m.Add(&rs[i])
	}
	return m.Figures(&k, "k")
}

// A kiln that is as its file says balances; weak elements show as such, and a
// leaking door as loss, each within three standard errors and 3 %.
func TestBalance(t *testing.T) {
	kilns, shares := []string{"bench-9l-brick"}, []float64{0.85}
	if testing.Verbose() {
		kilns, shares = append(kilns, "jewellery-3l-fibre"), []float64{1, 0.9, 0.8}
	}
	for _, name := range kilns {
		p := shipped(t, name)
		for _, elements := range shares {
			head, rs := fire(t, p, p, elements)
			f := measured(head, rs, p)
			t.Logf("%s, elements at %g: power %.3f ± %.3f, loss %.3f ± %.3f", name, elements, f.Power.Value, f.Power.SE, f.Loss.Value, f.Loss.SE)
			assert.InDelta(t, elements, float64(f.Power.Value), 0.03)
			assert.InDelta(t, 1, float64(f.Loss.Value), 0.04)
			assert.Less(t, float64(f.Power.SE), 0.02)
		}
		leaky := p
		leaky.Shell.Bridges += quantity.Conductance(0.15 * p.BalanceDuty(700) * p.RatedW() / 680)
		head, rs := fire(t, p, leaky, 1)
		f := measured(head, rs, p)
		t.Logf("%s, leaky: power %.3f ± %.3f, loss %.3f ± %.3f", name, f.Power.Value, f.Power.SE, f.Loss.Value, f.Loss.SE)
		assert.InDelta(t, 1, float64(f.Power.Value), 0.04)
		assert.InDelta(t, 1.15, float64(f.Loss.Value), 0.06)
	}
}

func BenchmarkMeter(b *testing.B) {
	p := shipped(b, "bench-9l-brick")
	head, rs := fire(b, p, p, 1)
	for b.Loop() {
		measured(head, rs, p)
	}
	b.ReportMetric(float64(len(rs)), "readings")
}
