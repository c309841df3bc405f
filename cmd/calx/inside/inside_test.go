package inside

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/controller"
	"calx/profile"
	"calx/profile/plan"
	"calx/sim/kiln"
	"calx/sim/mould"
	"calx/sim/quantity"
)

func bench(t testing.TB) kiln.Params {
	text, err := kiln.ShippedFile("bench-9l-brick")
	require.NoError(t, err)
	k, err := kiln.Load("kiln", text)
	require.NoError(t, err)
	return k
}

func shipped(t testing.TB, name string) File {
	text, err := mould.ShippedFile(name)
	require.NoError(t, err)
	f, err := Read(name+".yaml", string(text))
	require.NoError(t, err)
	return f
}

func parse(t testing.TB, text string) *profile.Profile {
	p, err := profile.Parse(text)
	require.NoError(t, err)
	return p
}

func demo(t testing.TB) *profile.Profile {
	text, err := profile.ShippedText("demo-woody-pods")
	require.NoError(t, err)
	return parse(t, text)
}

func TestWhatDoesNotFitIsRefused(t *testing.T) {
	k := bench(t) // 220 x 240 x 170 mm
	for _, tt := range []struct {
		name string
		with func(*mould.Params)
		want string
	}{
		{"fits", func(*mould.Params) {}, ""},
		{"too wide", func(p *mould.Params) { p.Flask.Diameter = 0.218 }, "pod.yaml:5:13: flask.diameter: 218 mm, with its sleeve 222 mm, does not go into the chamber of kiln bench-9l-brick, which is 220 mm x 240 mm; at most 216 mm"},
		{"bare", func(p *mould.Params) { p.Flask.Diameter, p.Flask.Sleeve = 0.218, mould.SleeveNone }, ""},
		{"too high", func(p *mould.Params) { p.Flask.Height = 0.2 }, "pod.yaml:6:11: flask.height: 200 mm is more than the chamber of kiln bench-9l-brick is high; at most 170 mm"},
		// One shelf of 528 cm2 holds 479 cm2 of circles, and each covers 69.4 cm2.
		{"six", func(p *mould.Params) { p.Count = 6 }, ""},
		{"seven", func(p *mould.Params) { p.Count = 7 }, "at most 6 of these"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			f := shipped(t, "woody-pod-90")
			f.Name = "pod.yaml"
			tt.with(&f.Params)
			err := Fits([]File{f}, k)
			if tt.want == "" {
				require.NoError(t, err)
				return
			}
			require.ErrorContains(t, err, tt.want)
			var placed quantity.Errors
			assert.ErrorAs(t, err, &placed, "with its place in the file")
			_, err = Build([]File{f}, k, demo(t), nil)
			assert.ErrorContains(t, err, tt.want)
		})
	}
}

func TestAColdProfileCannotClear(t *testing.T) {
	_, err := Build([]File{shipped(t, "woody-pod-90")}, bench(t), parse(t, "heat to 250 C at 100 C/h\nhold until clear 90%, at most 8 h"), nil)
	assert.ErrorContains(t, err, `step 2, "hold until clear 90%, at most 8 h", would wait in vain: ceiling 250 C`)
	assert.ErrorContains(t, err, "needs at least")
}

// The dose at clear, once more by the steps that the controller takes.
func TestBeliefIsTheDoseAtClear(t *testing.T) {
	k, p := bench(t), parse(t, "heat to 150 C at 100 C/h\nhold 9 h\nheat to 720 C at 120 C/h\nhold 12 h\n")
	m, err := Build([]File{shipped(t, "woody-pod-90")}, k, p, nil)
	require.NoError(t, err)
	require.Len(t, m.Clear, 1)

	plan := profile.Unroll(p, profile.Outlook{StartC: 20})
	s, doseMin := m.Model.Start(20), 0.0
	const stepS = 20
	for m.Model.Read(&s).Flasks[0].ClearS < 0 {
		require.Less(t, s.TimeS, 40*3600.0)
		c, _, _ := plan.At(time.Duration((s.TimeS + stepS) * float64(time.Second)))
		m.Model.Step(&s, stepS, c, false)
		doseMin += controller.Weight(m.Model.Read(&s).Flasks[0].Pieces[0].TemperatureC, 6000) * stepS / 60
	}
	assert.InEpsilon(t, doseMin, m.Clear[0].MedianMin, 0.01)
	// Air through the wall is a factor of exp(0.60), the sprue helps beside it.
	sigma := m.Clear[0].SigmaLn
	assert.InDelta(t, 0.53, sigma, 0.08)
	// The 90 % point of the standard normal is 1.2816, 95 % 1.6449 (any table).
	assert.InDelta(t, 0.90, m.Clear[0].Chance(m.Clear[0].MedianMin*math.Exp(sigma*1.2816)), 1e-4)
	assert.InDelta(t, 0.95, m.Clear[0].Chance(m.Clear[0].MedianMin*math.Exp(sigma*1.6449)), 1e-4)
	assert.Equal(t, "physics alone, no test pieces; two in three within a factor of 1.7", Evidence(m))
}

// Whatever the profile, there is a belief about every piece.
func TestBeliefsWithoutAnEnd(t *testing.T) {
	k, closed := bench(t), bench(t)
	closed.Air.Leakage = 0
	pod, empty := shipped(t, "woody-pod-90"), shipped(t, "woody-pod-90")
	empty.Params.Patterns = nil
	for name, p := range map[string]*profile.Profile{
		"only dried": parse(t, "heat to 150 C at 100 C/h\nhold 2 h\n"), "no hold": parse(t, "heat to 400 C as fast as possible\nwait until below 50 C\n"),
		"nothing": parse(t, `tell "done"`), "demo": demo(t),
	} {
		for _, kp := range []kiln.Params{k, closed} {
			m, err := Build([]File{pod, empty, shipped(t, "thin-leaf-65")}, kp, p, nil)
			require.NoError(t, err, name)
			require.Len(t, m.Clear, 2)
			for _, b := range m.Clear {
				assert.Greater(t, b.MedianMin, 1.0, name)
				assert.False(t, math.IsInf(b.MedianMin, 0), name)
			}
		}
	}
	m, err := Build([]File{empty}, k, demo(t), nil)
	require.NoError(t, err)
	assert.Empty(t, m.Clear)
}

// The demo shows what it says: every hold ends on what it waits for, within its
// bounds, and the whole takes about 20 h.
func TestDemoEndsOnWhatItWaitsFor(t *testing.T) {
	p := demo(t)
	m, err := Build([]File{shipped(t, "woody-pod-90")}, bench(t), p, nil)
	require.NoError(t, err)
	c := Follow(m, p, profile.Outlook{StartC: 20})
	assert.Equal(t, 0.95, c.Want)
	assert.Less(t, c.Dry, c.Clear)
	assert.Less(t, c.Clear, c.ByOdds, "95 % is more than the middle")
	assert.GreaterOrEqual(t, c.Chance, 0.95)
	for _, s := range p.Steps {
		if s.Kind == profile.Hold {
			assert.Greater(t, c.Hold(s), s.AtLeast-time.Minute, "%+v", s)
			assert.Less(t, c.Hold(s), s.AtMost-time.Hour, "%+v", s)
		}
	}
	total := profile.Unroll(p, profile.Outlook{StartC: 20, Hold: c.Hold}).Total
	assert.InDelta(t, 20, total.Hours(), 1)
}

// Plan and firing must agree on when to be sure, or a pour time is missed.
func TestSureWhenThePlanIs(t *testing.T) {
	k := bench(t)
	for _, name := range []string{"woody-pod-90", "thin-leaf-65"} {
		f := shipped(t, name)
		pl, err := plan.Make(plan.Input{Kiln: k, Moulds: []mould.Params{f.Params}, AmbientC: 20, PourC: 540})
		require.NoError(t, err)
		m, err := Build([]File{f}, k, pl.Profile, nil)
		require.NoError(t, err)
		c := Follow(m, pl.Profile, profile.Outlook{StartC: 20})
		// Conductivity, too, is uncertain to a plan; it delays a thin leaf.
		assert.InDelta(t, pl.ClearBy.Hours(), c.ByOdds.Hours(), 0.1*pl.ClearBy.Hours(), "%s: hours until 95 %% sure", name)
	}
}

func TestAirOfAKiln(t *testing.T) {
	a := Air(bench(t), 18) // 9 L, leakage 6 /h, vent 25 /h
	assert.InDelta(t, 0.22*0.24*0.17, a.VolumeM3, 1e-12)
	assert.InDelta(t, 6, a.ChangesPerH, 1e-9)
	assert.InDelta(t, 31, a.ChangesOnPerH, 1e-9)
	assert.Equal(t, 18.0, a.RoomC)
}

func TestNamesAndWitnesses(t *testing.T) {
	two := []File{shipped(t, "woody-pod-90"), shipped(t, "woody-pod-90"), shipped(t, "thin-leaf-65")}
	assert.Equal(t, []string{"woody-pod-90", "woody-pod-90 2", "thin-leaf-65"}, Names(two))
	assert.Equal(t, []int{0, 1, -1, -1, -1, 2, -1}, witnesses(two, []string{"witness", "witness 2", "witness 4", "test plug", "witness 1 spare", "witness 3", "1"}))
	_, err := ReadAll([]string{two[0].Text, "name: x\n"})
	assert.ErrorContains(t, err, "mould 2:1:1: flask: missing")
}
