package quantity_test

import (
	"math"
	"regexp"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"calx/sim/quantity"
)

// parser is any quantity, through a pointer.
type parser interface {
	Parse(string) error
	String() string
}

// Conversion factors: NIST Special Publication 811 (2008), appendix B.8.
func TestParse(t *testing.T) {
	var (
		l  quantity.Length
		a  quantity.Area
		v  quantity.Volume
		m  quantity.Mass
		p  quantity.Power
		e  quantity.Energy
		c  quantity.Temperature
		d  quantity.TemperatureDifference
		r  quantity.Rate
		s  quantity.Duration
		f  quantity.Frequency
		o  quantity.Resistance
		x  quantity.Fraction
		k  quantity.Conductivity
		w  quantity.Density
		cp quantity.HeatCapacity
		h  quantity.HeatTransfer
	)
	for _, tt := range []struct {
		name string
		q    parser
		text string
		got  func() float64
		want float64
	}{
		{"mm", &l, "90 mm", func() float64 { return float64(l) }, 0.09},
		{"no space", &l, "90mm", func() float64 { return float64(l) }, 0.09},
		{"cm", &l, "9 cm", func() float64 { return float64(l) }, 0.09},
		{"inch", &l, "3.5 in", func() float64 { return float64(l) }, 0.0889},
		{"mixed inch", &l, "3 1/2 in", func() float64 { return float64(l) }, 0.0889},
		{"mixed inch, hyphen", &l, "3-1/2 in", func() float64 { return float64(l) }, 0.0889},
		{"inch mark", &l, `3½"`, func() float64 { return float64(l) }, 0.0889},
		{"feet and inches", &l, "1 ft 2 in", func() float64 { return float64(l) }, 0.3556},
		{"square inch", &a, "2 in²", func() float64 { return float64(a) }, 2 * 6.4516e-4},
		{"litre", &v, "60 L", func() float64 { return float64(v) }, 0.06},
		{"gallon", &v, "1 gal", func() float64 { return float64(v) }, 3.785412e-3},
		{"cubic foot", &v, "1 ft3", func() float64 { return float64(v) }, 2.831685e-2},
		{"pound", &m, "2 lb", func() float64 { return float64(m) }, 0.90718474},
		{"pound and ounce", &m, "1 lb 8 oz", func() float64 { return float64(m) }, 1.5 * 0.45359237},
		{"kilowatt", &p, "2.4 kW", func() float64 { return float64(p) }, 2400},
		{"kilowatt hour", &e, "1 kWh", func() float64 { return float64(e) }, 3.6e6},
		{"celsius", &c, "735 C", func() float64 { return float64(c) }, 735},
		{"fahrenheit", &c, "1350 F", func() float64 { return float64(c) }, 1318 * 5.0 / 9},
		{"degree sign", &c, "1350 °F", func() float64 { return float64(c) }, 1318 * 5.0 / 9},
		{"kelvin", &c, "273.15 K", func() float64 { return float64(c) }, 0},
		{"both scales meet", &c, "-40 F", func() float64 { return float64(c) }, -40},
		{"difference", &d, "9 F", func() float64 { return float64(d) }, 5},
		{"difference below", &d, "-5 C", func() float64 { return float64(d) }, -5},
		{"rate", &r, "100 C/h", func() float64 { return float64(r) }, 100},
		{"rate in F", &r, "3 F/min", func() float64 { return float64(r) }, 100},
		{"duration", &s, "2 h 30 min", func() float64 { return float64(s) }, 9000},
		{"duration, tight", &s, "2h30min", func() float64 { return float64(s) }, 9000},
		{"per hour", &f, "3 /h", func() float64 { return float64(f) }, 1.0 / 1200},
		{"ohm", &o, "11.5 Ω", func() float64 { return float64(o) }, 11.5},
		{"percent", &x, "85 %", func() float64 { return float64(x) }, 0.85},
		{"fraction", &x, "0.85", func() float64 { return float64(x) }, 0.85},
		{"conductivity", &k, "0.25 W/m/K", func() float64 { return float64(k) }, 0.25},
		{"density", &w, "50 lb/ft3", func() float64 { return float64(w) }, 50 * 16.01846},
		{"heat capacity", &cp, "1.05 kJ/kg/K", func() float64 { return float64(cp) }, 1050},
		{"transfer", &h, "10 W/m²/K", func() float64 { return float64(h) }, 10},
	} {
		t.Run(tt.name, func(t *testing.T) {
			require.NoError(t, tt.q.Parse(tt.text))
			assert.InEpsilon(t, tt.want+1, tt.got()+1, 1e-6) // SP 811 prints seven digits
		})
	}
}

func TestParseRefuses(t *testing.T) {
	for _, tt := range []struct {
		name string
		q    parser
		text string
		want string
	}{
		{"no unit", new(quantity.Length), "90", "90: a length needs a unit, for example 90 mm or 3 1/2 in"},
		{"empty", new(quantity.Length), "", "empty: a length needs a number and a unit"},
		{"wrong unit", new(quantity.Length), "90 kg", `"kg" is not a unit of length; use m, mm, cm`},
		{"unit only", new(quantity.Power), "kW", `"kW" is not a number`},
		{"decimal comma", new(quantity.Length), "3,5 cm", "write a decimal point"},
		{"thousands comma", new(quantity.Temperature), "1,350 F", "write a decimal point and no comma"},
		{"negative length", new(quantity.Length), "-3 mm", "a length cannot be negative"},
		{"below absolute zero", new(quantity.Temperature), "-300 C", "below absolute zero"},
		{"infinite", new(quantity.Power), "1e999 W", "must be a finite number"},
		{"not a number", new(quantity.Power), "NaN W", "is not a number"},
		{"fraction too large", new(quantity.Fraction), "85", "a fraction is at most 1, for example 85 % or 0.85"},
		{"division by zero", new(quantity.Length), "1/0 in", "is not a number"},
		{"two terms", new(quantity.Power), "1 kW 200 W", "a power is one number and one unit"},
		{"terms in the wrong order", new(quantity.Duration), "30 min 2 h", "a duration is one number and one unit"},
		{"minutes or metres", new(quantity.Duration), "5 m", `"m" is not a unit of duration; use s, ms, min, h, d`},
		{"millions of watts", new(quantity.Power), "1 mW", `"mW" is not a unit of power`},
		{"long", new(quantity.Length), strings.Repeat("9", 200) + " mm", "too long"},
	} {
		t.Run(tt.name, func(t *testing.T) { assert.ErrorContains(t, tt.q.Parse(tt.text), tt.want) })
	}
}

func TestString(t *testing.T) {
	assert.Equal(t, "90 mm", quantity.Length(0.09).String())
	assert.Equal(t, "60 L", quantity.Volume(0.06).String())
	assert.Equal(t, "2.4 kW", quantity.Power(2400).String())
	assert.Equal(t, "735 C", quantity.Temperature(735).String())
	assert.Equal(t, "2.5 h", quantity.Duration(9000).String())
	assert.Equal(t, "85 %", quantity.Fraction(0.85).String())
	assert.Equal(t, "100 C/h", quantity.Rate(100).String())
}

// roundTrip checks that what is written reads back to the same bits, as text
// and through YAML, and that the published pattern admits it.
func roundTrip[Q any, P interface {
	*Q
	parser
	UnmarshalYAML([]byte) error
}](t *rapid.T, q Q, pattern string) {
	text := P(&q).String()
	var back Q
	if err := P(&back).Parse(text); err != nil {
		t.Fatalf("%s: %v", text, err)
	}
	if any(back) != any(q) {
		t.Fatalf("%s: got %v want %v", text, back, q)
	}
	encoded, err := yaml.Marshal(q)
	if err != nil {
		t.Fatal(err)
	}
	var again Q
	if err := yaml.Unmarshal(encoded, &again); err != nil {
		t.Fatalf("%s: %v", encoded, err)
	}
	if any(again) != any(q) {
		t.Fatalf("%s: got %v want %v", encoded, again, q)
	}
	if pattern != "" && !regexp.MustCompile(pattern).MatchString(text) {
		t.Fatalf("%s: not in pattern %s", text, pattern)
	}
}

func TestRoundTrip(t *testing.T) {
	positive := rapid.Float64Range(0, 1e12)
	signed := rapid.Float64Range(-1e6, 1e6)
	rapid.Check(t, func(t *rapid.T) {
		v, s := positive.Draw(t, "v"), signed.Draw(t, "s")
		roundTrip(t, quantity.Length(v), quantity.Length(0).JSONSchema().Pattern)
		roundTrip(t, quantity.Volume(v), quantity.Volume(0).JSONSchema().Pattern)
		roundTrip(t, quantity.Mass(v), quantity.Mass(0).JSONSchema().Pattern)
		roundTrip(t, quantity.Power(v), quantity.Power(0).JSONSchema().Pattern)
		roundTrip(t, quantity.Energy(v), quantity.Energy(0).JSONSchema().Pattern)
		roundTrip(t, quantity.Duration(v), quantity.Duration(0).JSONSchema().Pattern)
		roundTrip(t, quantity.Frequency(v), quantity.Frequency(0).JSONSchema().Pattern)
		roundTrip(t, quantity.Conductivity(v), quantity.Conductivity(0).JSONSchema().Pattern)
		roundTrip(t, quantity.HeatCapacity(v), quantity.HeatCapacity(0).JSONSchema().Pattern)
		roundTrip(t, quantity.ContactResistance(v), quantity.ContactResistance(0).JSONSchema().Pattern)
		roundTrip(t, quantity.TemperatureDifference(s), quantity.TemperatureDifference(0).JSONSchema().Pattern)
		roundTrip(t, quantity.Rate(s), quantity.Rate(0).JSONSchema().Pattern)
		roundTrip(t, quantity.Temperature(math.Max(s, -273.15)), quantity.Temperature(0).JSONSchema().Pattern)
		roundTrip(t, quantity.Fraction(v/1e12), "")
	})
}

// FuzzParse holds that whatever reads, writes and reads back the same, and
// that a refusal leaves the value alone.
func FuzzParse(f *testing.F) {
	for _, s := range []string{"90 mm", "3 1/2 in", "1 ft 2 in", "-40 F", "1350 F", "2h30min", "85 %", "0.85", "1e3 W/m/K", "½ in", "--", "1//2"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		fuzzOne(t, s, quantity.Length(7))
		fuzzOne(t, s, quantity.Temperature(7))
		fuzzOne(t, s, quantity.Duration(7))
		fuzzOne(t, s, quantity.Fraction(0.5))
		fuzzOne(t, s, quantity.Rate(7))
		fuzzOne(t, s, quantity.Conductivity(7))
	})
}

func fuzzOne[Q comparable, P interface {
	*Q
	parser
}](t *testing.T, s string, start Q) {
	q := start
	if err := P(&q).Parse(s); err != nil {
		assert.Equal(t, start, q)
		assert.NotEmpty(t, err.Error())
		return
	}
	var back Q
	require.NoError(t, P(&back).Parse(P(&q).String()), "%q gave %s", s, P(&q).String())
	assert.Equal(t, q, back, "%q", s)
}
