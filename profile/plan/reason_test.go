package plan

import (
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/profile"
)

var update = flag.Bool("update", false, "write the golden plans anew")

// written is a plan as a person reads it.
func written(p *Plan) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s in all, clear by %s, dry by %s; %.1f kWh\nlongest: %s\n", took(p.Total), took(p.ClearBy), took(p.DryAt), p.EnergyKWh, p.Binding)
	for i, r := range p.Reasons {
		fmt.Fprintf(&b, "%s\n    %s\n", p.Profile.Sentence(i), r.Text)
	}
	return b.String()
}

var number = regexp.MustCompile(`\d+(\.\d+)?`)

// alike compares texts: words exactly, numbers within a tenth, so that the
// goldens outlive a better figure in the model.
func alike(t *testing.T, want, got string) {
	t.Helper()
	if !assert.Equal(t, number.ReplaceAllString(want, "N"), number.ReplaceAllString(got, "N"), got) {
		return
	}
	is := number.FindAllString(got, -1)
	for i, w := range number.FindAllString(want, -1) {
		a, _ := strconv.ParseFloat(w, 64)
		b, _ := strconv.ParseFloat(is[i], 64)
		assert.InDelta(t, a, b, math.Max(20, 0.1*a), "number %d: a tenth, or 20 min", i)
	}
}

func TestGoldenPlans(t *testing.T) {
	t.Parallel()
	for _, c := range cases {
		got := written(made(t, shipped(t, c.mould, c.kiln)))
		file := filepath.Join("testdata", c.mould+".txt")
		if *update {
			require.NoError(t, os.MkdirAll("testdata", 0o755))
			require.NoError(t, os.WriteFile(file, []byte(got), 0o644))
		}
		want, err := os.ReadFile(file)
		require.NoError(t, err)
		alike(t, string(want), got)
	}
}

func TestReasonsNameTheBindingNumber(t *testing.T) {
	t.Parallel()
	p := made(t, cone(t))
	byStep := func(kind profile.Kind, until profile.Until) Reason {
		for i, s := range p.Profile.Steps {
			if s.Kind == kind && s.Until == until {
				return p.Reasons[i]
			}
		}
		t.Fatal("no such step")
		return Reason{}
	}
	// 435 kg of free water per m³ of fresh mould (computed from 40 parts of
	// water to 100 of powder) in 150 mm by 200 mm: 1.54 kg.
	assert.Contains(t, byStep(profile.Hold, profile.UntilDry).Text, "1.54 kg of water are still in the mould")
	assert.Equal(t, ByWater, byStep(profile.Hold, profile.UntilDry).Limit)
	assert.Contains(t, byStep(profile.Hold, profile.UntilClear).Text, "waits for air, not for heat")
	assert.Equal(t, ByAir, byStep(profile.Hold, profile.UntilClear).Limit)
	assert.Contains(t, written(p), "over the 135 C allowed (150 C less the margin)")
}

func TestSteamBindsWhereTheWallIsTight(t *testing.T) {
	t.Parallel()
	in := woody(t)
	in.Limits.SteamIndex = 0.006
	p := made(t, in)
	dry := p.Reasons[1]
	assert.Equal(t, BySteam, dry.Limit)
	assert.Contains(t, dry.Text, "hotter would push the steam index over 0.0054")
	assert.Greater(t, p.DryAt, made(t, woody(t)).DryAt)
	keepsLimits(t, in, p)
}

func TestFahrenheitEverywhere(t *testing.T) {
	t.Parallel()
	in := woody(t)
	in.Fahrenheit = true
	p := made(t, in)
	text := written(p) + strings.Join(p.Notes, "\n") + p.Profile.String()
	assert.NotRegexp(t, `\d C\b`, strings.ReplaceAll(text, "730 C", "")) // a warning of sim/mould speaks Celsius
	assert.Contains(t, p.Profile.String(), "cool to 1004 F at ")         // 540 °C
	for _, s := range p.Profile.Steps {
		if s.Kind == profile.Heat {
			perH := s.RateCPerH * 9 / 5
			assert.InDelta(t, math.Round(perH/5)*5, perH, 1e-3, "a round rate in F/h")
		}
	}
	back, err := profile.Parse(p.Profile.String())
	require.NoError(t, err)
	assert.Equal(t, p.Profile.String(), back.String())
}
