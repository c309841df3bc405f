package sheet_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"calx/profile/sheet"
	"calx/sim/mould"
)

// Densities of water, table on ITS-90 (CRC Handbook, standard mean ocean
// water), read on a secondary page. Kell's equation is within 0.01 kg/m³.
func TestWaterDensityAgainstTable(t *testing.T) {
	for c, want := range map[float64]float64{0: 999.8395, 4: 999.9720, 10: 999.7026, 15: 999.1026, 20: 998.2071, 25: 997.0479, 30: 995.6502} {
		assert.InDelta(t, want, sheet.WaterDensity(c), 0.01, "%g °C", c)
	}
}

// OpenStax College Physics, section 11.7, the ancient coin: 8.630 g in air,
// 7.800 g in water of 1.000 g/cm³ displaces 0.830 cm³; density 10.4 g/cm³.
func TestDisplacementOfTheCoin(t *testing.T) {
	const densestC = 4.0 // where water is 1.000 g/cm³
	v := sheet.Displaced(0.008630-0.007800, 0, densestC)
	assert.InDelta(t, 0.830e-6, v, 0.0005e-6)
	assert.InDelta(t, 10.4e3, 0.008630/v, 0.05e3)
}

// A plunger's own displacement is taken off.
func TestPlungerIsTakenOff(t *testing.T) {
	assert.InDelta(t, sheet.Displaced(0.040, 0, 20), sheet.Displaced(0.0425, 0.0025, 20), 1e-15)
}

// Groover, Fundamentals of Modern Manufacturing, riser example, read on a
// page that works it: plate 7.5 x 12.5 x 2.0 cm, V 187.5, A 267.5; it freezes
// in 1.6 min; a cylinder as high as wide freezes in 2.0 min at D = 4.7 cm.
func TestModulusAgainstGroover(t *testing.T) {
	plate := sheet.BoxModulus(0.075, 0.125, 0.020)
	assert.InDelta(t, 187.5/267.5/100, plate, 1e-12)
	riser := sheet.CylinderModulus(0.047, 0.047)
	assert.InDelta(t, 0.047/6, riser, 1e-12)
	assert.InDelta(t, 2.0/1.6, sheet.FreezingRatio(riser, plate), 0.01)
}

// Further published plates: 10 x 10 x 4 cm has 1.111 cm (textbook exercise on
// side risers), 12 x 12 x 1.1 in has 0.464 in (158.4 over 340.8).
func TestModulusOfOtherPlates(t *testing.T) {
	assert.InDelta(t, 1.111, sheet.BoxModulus(10, 10, 4), 0.0005)
	assert.InDelta(t, 158.4/340.8, sheet.BoxModulus(12, 12, 1.1), 1e-12)
}

// Limits of the shapes, geometry: sphere D/6, cube a/6, long rod D/4, wide
// plate half its thickness.
func TestModulusLimits(t *testing.T) {
	assert.InDelta(t, sheet.BallModulus(0.03), sheet.BoxModulus(0.03, 0.03, 0.03), 1e-15)
	assert.InDelta(t, sheet.SprueModulus(0.004), sheet.CylinderModulus(0.004, 1e6), 1e-9)
	assert.InDelta(t, 0.001, sheet.BoxModulus(1e5, 1e5, 0.002), 1e-9)
}

// Table of a casting-equipment manual (2011), read: powder and water, g, by
// flask, mm, at 0.35 water. The list holds a little waste: the formula is 3 %
// below it, never above.
func TestMixAgainstEquipmentTable(t *testing.T) {
	const mmCubed = 1e-9
	for _, row := range []struct{ d, h, powder, water float64 }{{80, 80, 560, 196}, {65, 80, 370, 130}, {50, 55, 150, 52}} {
		v := 3.14159265 / 4 * row.d * row.d * row.h * mmCubed
		powder, water := sheet.Mix(v, 0.35, 2550)
		assert.InEpsilon(t, row.powder/1000, powder, 0.04, "%g by %g mm", row.d, row.h)
		assert.Less(t, powder, row.powder/1000)
		assert.InEpsilon(t, row.water/1000, water, 0.04)
	}
}

// Volumes add up whatever the mix is: conservation.
func TestMixFillsWhatItShould(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64Range(1e-5, 0.1).Draw(t, "m3")
		part := rapid.Float64Range(0.25, 0.95).Draw(t, "water")
		rho := sheet.PowderDensity(rapid.Float64Range(0, 1).Draw(t, "binder"))
		powder, water := sheet.Mix(v, part, rho)
		assert.InEpsilon(t, v, powder/rho+water/1000, 1e-9)
	})
}

// Mineral tables, from memory: pure hemihydrate 2.74 g/cm³; 30 % of it with
// cristobalite 2.33 and quartz 2.65 in equal parts 2.55.
func TestPowderDensity(t *testing.T) {
	assert.InDelta(t, 2740, sheet.PowderDensity(1), 1e-9)
	assert.InDelta(t, 2550, sheet.PowderDensity(0.30), 5)
}

// Datasheets give silicon bronze as 0.302 lb/in3 and 1510, 1580, 1780 F;
// silicon brass 0.299 lb/in3, 1510 to 1683 F, poured at 1800 to 2000 F.
func TestAlloysAgainstDatasheets(t *testing.T) {
	const lbIn3 = 0.45359237 / (0.0254 * 0.0254 * 0.0254)
	inC := func(f float64) float64 { return (f - 32) / 1.8 }
	bronze, err := sheet.FindAlloy("Silicon  bronze")
	require.NoError(t, err)
	assert.InEpsilon(t, 0.302*lbIn3, bronze.HighKgM3, 0.001)
	assert.InDelta(t, inC(1510), bronze.Solidus.LowC, 1)
	assert.InDelta(t, inC(1580), bronze.Solidus.HighC, 1)
	assert.InDelta(t, inC(1780), bronze.Liquidus.HighC, 1)
	brass, err := sheet.FindAlloy("c87500")
	require.NoError(t, err)
	assert.InEpsilon(t, 0.299*lbIn3, brass.HighKgM3, 0.001)
	assert.InDelta(t, inC(1683), brass.Liquidus.HighC, 1)
	assert.InDelta(t, inC(1800), brass.PourHeavy.LowC, 3) // the list is rounded
	assert.InDelta(t, inC(2000), brass.Pour.HighC, 3)
}

// No alloy is poured below its liquidus, no flask is hotter than the metal's
// solidus.
func TestTableIsPossible(t *testing.T) {
	for _, a := range sheet.Alloys() {
		assert.LessOrEqual(t, a.Solidus.HighC, a.Liquidus.LowC+20, a.Name) // gold lists overlap
		assert.Greater(t, a.Pour.LowC, a.Liquidus.HighC, a.Name)
		assert.LessOrEqual(t, a.LowKgM3, a.HighKgM3, a.Name)
		if a.PourHeavy != nil {
			assert.Greater(t, a.PourHeavy.LowC, a.Liquidus.HighC, a.Name)
		}
		before := 0.0
		for _, c := range []sheet.Class{sheet.Heavy, sheet.Medium, sheet.Thin} {
			s, ok := sheet.FlaskTemperature(a.Family, c)
			assert.Equal(t, a.Family != sheet.Pewter, ok, a.Name)
			assert.Less(t, s.HighC, a.Solidus.LowC, a.Name)
			assert.GreaterOrEqual(t, s.LowC, before, "%s: thinner sections want a hotter flask", a.Name)
			before = s.LowC
		}
		assert.NotEmpty(t, a.Source.Mark)
	}
}

func load(t *testing.T, name string) mould.Params {
	t.Helper()
	text, err := mould.ShippedFile(name)
	require.NoError(t, err)
	p, err := mould.Load(name, text)
	require.NoError(t, err)
	return p
}

func input(t *testing.T, name string) sheet.Input {
	in := sheet.Defaults
	in.Mould, in.Alloy = load(t, name), "silicon bronze"
	return in
}

// By hand: 90 mm bore, 120 mm high is 763 cm³; 40 cm³ of pattern and the
// sprue off, 10 % waste on, at 0.40 and 2.55 kg/L.
func TestSheetOfTheUsualFlask(t *testing.T) {
	in := input(t, "woody-pod-90")
	in.VolumeM3, in.Mould.Sprue = 40e-6, mould.Sprue{}
	s, err := sheet.Make(in)
	require.NoError(t, err)
	assert.InDelta(t, 763.4e-6, s.Batch.FlaskM3, 0.1e-6)
	assert.InDelta(t, 1.005, s.Batch.PowderKg, 0.003)
	assert.InDelta(t, 0.402, s.Batch.WaterKg, 0.001)
	assert.InDelta(t, 0.3344, s.Metal.PieceKg, 1e-9) // 40 cm³ of 8.36 g/cm³
	assert.Equal(t, sheet.FromGiven, s.VolumeFrom)
}

// A proposed reservoir feeds, the next millimetre down would not; the metal
// counts it.
func TestProposedReservoirIsTheLeast(t *testing.T) {
	for _, name := range mould.Shipped() {
		s, err := sheet.Make(input(t, name))
		require.NoError(t, err, name)
		require.True(t, s.Feed.Proposed)
		assert.True(t, s.Feed.Feeds, name)
		d := s.Feed.Reservoir.DiameterM - 0.001
		if d > 0 {
			assert.Less(t, sheet.CylinderModulus(d, d), sheet.FeedFactor*s.Feed.SectionM, name)
		}
		assert.GreaterOrEqual(t, s.Feed.FreezesIn, sheet.FeedFactor*sheet.FeedFactor*(1-1e-9), name)
		m := s.Metal
		assert.InEpsilon(t, 1.1*(m.PieceKg+m.SprueKg+m.ReservoirKg), m.TotalKg, 1e-12)
	}
}

// A twig of 4 mm needs a sprue of at least 4.8 mm: 1.2 times, both long rods.
func TestLeastSprueOfATwig(t *testing.T) {
	in := input(t, "woody-pod-90")
	in.Mould.Patterns = []mould.Pattern{{Material: "twig", Shape: mould.ShapeStem, Section: 0.004, Length: 10}}
	in.VolumeM3 = 1e-6
	s, err := sheet.Make(in)
	require.NoError(t, err)
	assert.InDelta(t, 0.0048, s.Feed.LeastSprueM, 1e-6)
}

func TestSmallReservoirWillDraw(t *testing.T) {
	in := input(t, "cone-150")
	in.Reservoir = sheet.Size{DiameterM: 0.020, HeightM: 0.020}
	s, err := sheet.Make(in)
	require.NoError(t, err)
	assert.False(t, s.Feed.Feeds)
	assert.False(t, s.Feed.Proposed)
	assert.Less(t, s.Feed.FreezesIn, 1.0)
}

// By hand: a leaf of 40 mm in a flask of 65 by 80 mm on a sprue of 25 mm has
// 12.5 mm at the sides and 15 mm at the end.
func TestFitByHand(t *testing.T) {
	s, err := sheet.Make(input(t, "thin-leaf-65"))
	require.NoError(t, err)
	require.Len(t, s.Fits, 1)
	f := s.Fits[0]
	assert.InDelta(t, 0.0125, f.WallM, 1e-9)
	assert.InDelta(t, 0.015, f.EndM, 1e-9)
	assert.True(t, f.WallOK && f.EndOK)
}

func TestMistakesNameFieldAndValue(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*sheet.Input)
		want   string
	}{
		{"metal", func(in *sheet.Input) { in.Alloy = "unobtainium" }, `metal: "unobtainium" is not a metal of the table; there are silicon bronze,`},
		{"which", func(in *sheet.Input) { in.Alloy = "tin bronze" }, `metal: "tin bronze" may be tin bronze C90300 or tin bronze C90700; say which`},
		{"both", func(in *sheet.Input) { in.VolumeM3, in.DisplacedKg = 40e-6, 0.04 }, "volume: 40 cm3 is given and so is displaced, 40 g"},
		{"plunger", func(in *sheet.Input) { in.DisplacedKg, in.PlungerKg = 0.04, 0.05 }, "plunger: 50 g is not less than displaced, 40 g"},
		{"plunger alone", func(in *sheet.Input) { in.PlungerKg = 0.05 }, "plunger: 50 g is not less than displaced, 0 g"},
		{"hot water", func(in *sheet.Input) { in.DisplacedKg, in.WaterC = 0.04, 68 }, "water: 68 C is outside 1 to 40 C"},
		{"waste", func(in *sheet.Input) { in.Waste = 1.5 }, "waste: 150 % is outside 0 to 100 %"},
		{"too much", func(in *sheet.Input) { in.VolumeM3 = 0.004 }, "volume: patterns and sprue take 4002 cm3"},
		{"reservoir", func(in *sheet.Input) { in.Reservoir = sheet.Size{DiameterM: 0.3, HeightM: 0.02} }, "reservoir: diameter 300 mm is outside 0 to the 90 mm of the flask"},
	} {
		t.Run(c.name, func(t *testing.T) {
			in := input(t, "woody-pod-90")
			c.change(&in)
			_, err := sheet.Make(in)
			var m sheet.Mistakes
			require.ErrorAs(t, err, &m)
			assert.ErrorContains(t, err, c.want)
		})
	}
}

// Each danger of an alloy is told with it, and only with it.
func TestCautionsFollowTheAlloy(t *testing.T) {
	titles := func(alloy string) (out []string) {
		in := input(t, "woody-pod-90")
		in.Alloy = alloy
		s, err := sheet.Make(in)
		require.NoError(t, err)
		for _, c := range s.Cautions {
			out = append(out, c.Title)
		}
		return out
	}
	assert.Contains(t, titles("red brass"), "Lead fume")
	assert.Contains(t, titles("yellow brass"), "Zinc fume")
	assert.NotContains(t, titles("silicon bronze"), "Lead fume")
	assert.Contains(t, titles(""), "Never pour into a damp mould")
}
