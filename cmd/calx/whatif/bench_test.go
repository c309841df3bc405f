package whatif

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"calx/controller"
	"calx/controller/identify"
	"calx/controller/relay"
	"calx/profile"
	"calx/sim/kiln"
)

func shipped(t testing.TB, name, text string) Firing {
	data, err := kiln.ShippedFile(name)
	require.NoError(t, err)
	p, err := kiln.Load(name, data)
	require.NoError(t, err)
	pr, err := profile.Parse(text)
	require.NoError(t, err)
	plant := identify.Plant(p, 20)
	return Firing{Kiln: p, Chip: "max31855", StartC: 20, RoomC: 20, Start: time.Date(2026, 1, 9, 19, 0, 0, 0, time.UTC),
		Control: controller.Config{Profile: pr, Plant: plant, Relay: relay.DefaultConfig(relay.Contactor), Guard: identify.Guard(p, plant), NoiseC: 0.25}}
}

// twenty takes 20 h.
const twenty = "heat to 150 C at 60 C/h\nhold 3 h\nheat to 370 C at 100 C/h\nhold 3 h\nheat to 720 C at 150 C/h\nhold 4 h\ncool to 540 C at 60 C/h\nhold 5 min\n"

func BenchmarkTwentyHours(b *testing.B) {
	f := shipped(b, "bench-9l-brick", twenty)
	n := 0
	for b.Loop() {
		r, err := Run(f)
		require.NoError(b, err)
		require.Equal(b, "finished", r.Outcome)
		n = len(r.Readings)
	}
	b.ReportMetric(float64(n), "ticks")
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(n), "ns/tick")
}
