package mould

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/sim/quantity"
)

// Flasks down to the least have thin cells, where the boiling front once threw
// a core of 150 °C to 30,000. Heat flows from hot to cold (second law): no core
// is ever hotter than the hottest air so far, and none cools while the air
// warms. Steps of a second, which need no such care, are the reference for the
// time of drying.
func TestSmallFlasksStayWithinTheirSurroundings(t *testing.T) {
	const endC, rateCPerH = 720.0, 150.0
	for _, d := range []struct{ diameterMM, heightMM float64 }{{20, 20}, {20, 40}, {30, 30}, {40, 25}, {50, 25}, {50, 40}, {65, 20}} {
		for _, sleeve := range []string{SleeveNone, SleeveSteel} {
			name := fmt.Sprintf("%g by %g mm, %s", d.diameterMM, d.heightMM, sleeve)
			m, err := New([]Params{{Name: "plug", Flask: Flask{
				Diameter: quantity.Length(d.diameterMM / 1000), Height: quantity.Length(d.heightMM / 1000), Sleeve: sleeve, Stands: OnGrate,
			}}}, Env{Air: DefaultKilnAir})
			require.NoError(t, err)
			s, fine := m.Start(20), m.Start(20)
			hottest := 20.0
			for airC := 20.0; airC < endC; airC += rateCPerH / 180 { // every 20 s
				m.Step(&s, observerS, airC, false)
				if fine.Flasks[0].DryS < 0 {
					for n := range 20 {
						m.move(&fine, 1, airC+rateCPerH/3600*(float64(n)-19.5), 0)
					}
				}
				core := m.Read(&s).Flasks[0].CoreC
				if core > airC+1 || core < hottest-10 {
					t.Fatalf("%s: a core of %.0f °C in %.0f °C, after %.0f °C", name, core, airC, hottest)
				}
				hottest = max(hottest, core)
			}
			assert.InEpsilon(t, fine.Flasks[0].DryS, s.Flasks[0].DryS, 0.01, "%s: time of drying, s", name)
		}
	}
}

// A forecast steps further at once.
func TestSmallFlasksInAForecast(t *testing.T) {
	m, err := New([]Params{{Name: "plug", Flask: Flask{Diameter: 0.04, Height: 0.025, Sleeve: SleeveSteel, Stands: OnGrate}}}, Env{Air: DefaultKilnAir})
	require.NoError(t, err)
	climb := func(tS float64) (float64, bool) { return min(20+tS/24, 720), false }
	m.Forecast(m.Start(20), climb, 8*3600, 60, func(tS float64, r *Reading) bool {
		airC, _ := climb(tS)
		return assert.LessOrEqual(t, r.Flasks[0].CoreC, airC+1) && assert.GreaterOrEqual(t, r.Flasks[0].CoreC, 15.0)
	})
}
