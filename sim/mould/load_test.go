package mould_test

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/sim/mould"
	"calx/sim/quantity"
)

// load returns a shipped mould or stops the test.
func load(t testing.TB, name string) mould.Params {
	t.Helper()
	data, err := mould.ShippedFile(name)
	require.NoError(t, err)
	p, err := mould.Load(name+".yaml", data)
	require.NoError(t, err)
	return p
}

func TestShippedLoad(t *testing.T) {
	require.GreaterOrEqual(t, len(mould.Shipped()), 4)
	for _, name := range mould.Shipped() {
		p := load(t, name)
		assert.Equal(t, name, p.Name)
		assert.NotEmpty(t, p.About)
		assert.NoError(t, p.CheckCeiling(730), name)
	}
	_, err := mould.ShippedFile("no-such")
	assert.ErrorContains(t, err, `mould "no-such" does not come with calx; there are branch-bare-100, cone-150, `)
}

func TestShippedMatchSchema(t *testing.T) {
	var doc any
	require.NoError(t, json.Unmarshal(mould.Schema(), &doc))
	c := jsonschema.NewCompiler()
	require.NoError(t, c.AddResource("mould.json", doc))
	schema, err := c.Compile("mould.json")
	require.NoError(t, err)
	for _, name := range mould.Shipped() {
		data, err := mould.ShippedFile(name)
		require.NoError(t, err)
		assert.NoError(t, schema.Validate(plainYAML(t, data)), name)
	}
	for _, bad := range []string{"name: x\n", "name: x\nflask: {diameter: 90, height: 90 mm, sleeve: steel, stands: shelf}\n", "name: x\ncolour: red\n"} {
		assert.Error(t, schema.Validate(plainYAML(t, []byte(bad))), bad)
	}
}

// plainYAML is the YAML as the untyped JSON a validator sees.
func plainYAML(t *testing.T, data []byte) any {
	t.Helper()
	text, err := yaml.YAMLToJSON(data)
	require.NoError(t, err)
	var v any
	require.NoError(t, json.Unmarshal(text, &v))
	return v
}

func TestRoundTrip(t *testing.T) {
	for _, name := range mould.Shipped() {
		p := load(t, name)
		data, err := yaml.Marshal(p)
		require.NoError(t, err)
		back, err := mould.Load("again.yaml", data)
		require.NoError(t, err, "%s", data)
		assert.Equal(t, p, back)
	}
}

func TestLoadRefuses(t *testing.T) {
	data, err := mould.ShippedFile("woody-pod-90")
	require.NoError(t, err)
	for _, tt := range []struct{ name, old, new, want string }{
		{"unit missing", "section: 12 mm", "section: 12", "m.yaml:16:14: patterns[0].section: 12: a length needs a unit, for example 90 mm or 3 1/2 in"},
		{"larger than the flask", "section: 12 mm", "section: 92 mm", "m.yaml:16:14: patterns[0].section: 92 mm does not fit a flask of 90 mm; at most 80 mm leaves 5 mm of investment on each side"},
		{"longer than the flask", "length: 45 mm", "length: 130 mm", "patterns[0].length: 130 mm does not fit a flask 120 mm high"},
		{"negative moisture", "length: 45 mm", "length: 45 mm\n    moisture: -5 %", "patterns[0].moisture: -5 %: moisture is water over dry mass, 0 % to 300 %, for example 12 %"},
		{"moisture with more behind", "length: 45 mm", "length: 45 mm\n    moisture: 12 . 5 %", "moisture: 12 . 5 %: moisture is water over dry mass, for example 12 % or 0.12"},
		{"moisture of words", "length: 45 mm", "length: 45 mm\n    moisture: damp", "moisture: damp: moisture is water over dry mass, for example 12 % or 0.12"},
		{"no length", "    length: 45 mm\n", "", "patterns[0]: length is missing; a stem needs one, for example 60 mm"},
		{"length of nothing", "length: 45 mm", "length: 0.1 mm", "patterns[0].length: 0.1 mm is outside 0.5 mm to 900 mm"},
		{"sticks out", "length: 45 mm", "length: 45 mm\n    above_base: 10 mm", "patterns[0].above_base: 10 mm would let the piece stick out; its middle is at 22.5 mm to 97.5 mm"},
		{"material", "material: seed pod", "material: seedpod", `patterns[0].material: "seedpod" is not known; use woody stem, herb stem, twig,`},
		{"shape", "shape: stem", "shape: rod", `patterns[0].shape: "rod" is not known; use stem, ball, sheet`},
		{"mass against size", "length: 45 mm", "length: 45 mm\n    mass: 3 kg", "patterns[0].mass: 3 kg in this shape would be 5.89e+05 kg/m3; seed pod is about 500 kg/m3"},
		{"flask of metres", "diameter: 90 mm", "diameter: 90 m", "flask.diameter: 90 m is outside 20 mm to 600 mm"},
		{"sprue longer than the flask", "length: 35 mm", "length: 135 mm", "sprue.length: 135 mm is not less than the height of the flask, 120 mm"},
		{"sleeve", "sleeve: steel", "sleeve: brass", `flask.sleeve: "brass" is not known; use steel, none, perforated`},
		{"too little water", "sprue:", "investment: {water: 25 %, binder: 100 %, free_water: 10 kg/m3}\nwet: 120 %\nsprue:", "wet: 120 %: a fraction is at most 1"},
		{"own material", "patterns:", "materials:\n  - {name: fig, char: 30 %, ash: 5 %, cellulose: 40 %, density: 300 kg/m3}\npatterns:", "materials[0]: the shares of fig add up to 0.750; hemicellulose, cellulose, lignin, other, char and ash together make 1"},
		{"unknown field", "name:", "nom:", "nom: unknown field; the fields here are name, about, count, flask"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			text := strings.Replace(string(data), tt.old, tt.new, 1)
			require.NotEqual(t, string(data), text)
			p, err := mould.Load("m.yaml", []byte(text))
			assert.ErrorContains(t, err, tt.want)
			assert.Equal(t, mould.Params{}, p)
		})
	}
	text := strings.Replace(strings.Replace(string(data), "section: 12 mm", "section: 92 mm", 1), "90 mm", "90 m", 1)
	_, err = mould.Load("m.yaml", []byte(text))
	var all quantity.Errors
	require.ErrorAs(t, err, &all)
}

func TestLoadAcceptsOwnMaterial(t *testing.T) {
	data, err := mould.ShippedFile("woody-pod-90")
	require.NoError(t, err)
	text := strings.Replace(string(data), "patterns:", `materials:
  - name: fig
    source: weighed here
    hemicellulose: 25 %
    cellulose: 35 %
    lignin: 10 %
    char: 25 %
    ash: 5 %
    density: 300 kg/m3
    moisture: 150 %
patterns:`, 1)
	p, err := mould.Load("m.yaml", []byte(strings.Replace(text, "material: seed pod", "material: fig", 1)))
	require.NoError(t, err)
	m, err := mould.New([]mould.Params{p}, mould.Env{Air: mould.DefaultKilnAir})
	require.NoError(t, err)
	s := m.Start(20)
	assert.InEpsilon(t, 300*0.25*3.14159/4*0.012*0.012*0.045, s.Flasks[0].Pieces[0].UnformedKg, 1e-4, "char to come, kg")
	assert.InEpsilon(t, 1.5, s.Flasks[0].Pieces[0].WaterKg/(300*3.14159/4*0.012*0.012*0.045), 1e-4)
}

// Shares at the ends of what a file may say: what is all ash has nothing to
// burn, and next to nothing needs next to no air.
func TestMaterialOfNothingButAsh(t *testing.T) {
	for _, shares := range []string{"char: 0, ash: 1", "char: 0, ash: 0.996, hemicellulose: 1e-310", "char: 1, ash: 0", "char: 1, ash: 0, cellulose: 1e-320"} {
		p, err := mould.Load("m.yaml", []byte("name: a\nflask: {diameter: 100 mm, height: 100 mm, sleeve: steel, stands: shelf}\n"+
			"materials: [{name: m, density: 500 kg/m3, "+shares+"}]\npatterns: [{material: m, shape: stem, section: 3 mm, length: 10 mm}]\n"))
		require.NoError(t, err)
		m, err := mould.New([]mould.Params{p}, mould.Env{Air: mould.DefaultKilnAir})
		require.NoError(t, err)
		s := m.Start(20)
		m.Step(&s, 24*3600, 700, true)
		require.NoError(t, m.CheckState(&s), shares)
		r := m.Read(&s).Flasks[0]
		if strings.HasPrefix(shares, "char: 0") {
			assert.Equal(t, 1.0, r.ClearFraction, shares)
			assert.GreaterOrEqual(t, r.ClearS, 0.0, shares)
		} else {
			assert.True(t, r.ClearFraction >= 0 && r.ClearFraction <= 1, "%s: %g", shares, r.ClearFraction)
		}
	}
}

func TestCheckCeiling(t *testing.T) {
	p := load(t, "woody-pod-90")
	assert.NoError(t, p.CheckCeiling(730))
	assert.ErrorContains(t, p.CheckCeiling(300), "ceiling 300 C: seed pod would take over 12 h to burn there even in fresh air; it needs at least 3")
	assert.ErrorContains(t, p.CheckCeiling(950), "ceiling 950 C: gypsum-bonded investment breaks down near 900 C")
}

func TestNotes(t *testing.T) {
	assert.Empty(t, load(t, "woody-pod-90").Notes())
	p := load(t, "thin-leaf-65")
	assert.Contains(t, strings.Join(p.Notes(), "\n"), "thin pieces burn as fast as chemistry lets them")
	p = load(t, "woody-pod-90")
	p.Patterns[0].Section = 0.060
	p.Flask.Diameter = 0.3
	assert.Len(t, p.Notes(), 2)
}

func TestNewRefuses(t *testing.T) {
	p := load(t, "woody-pod-90")
	_, err := mould.New(nil, mould.Env{Air: mould.DefaultKilnAir})
	assert.ErrorContains(t, err, "0 kinds of mould: 1 to 12 can be followed at once")
	_, err = mould.New([]mould.Params{p}, mould.Env{})
	assert.ErrorContains(t, err, "kiln air: volume: 0 is outside 0.0001 to 20")
	p.Flask.Height = 0
	_, err = mould.New([]mould.Params{p}, mould.Env{Air: mould.DefaultKilnAir})
	assert.ErrorContains(t, err, "mould woody-pod-90: flask.height: 0 m is outside")
}

// FuzzLoad holds that no file panics, and that what is read can be compiled and
// run.
func FuzzLoad(f *testing.F) {
	for _, name := range mould.Shipped() {
		data, err := mould.ShippedFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := mould.Load("m.yaml", data)
		if err != nil {
			return
		}
		m, err := mould.New([]mould.Params{p}, mould.Env{Air: mould.DefaultKilnAir, Grid: mould.Grid{Rings: 4, Layers: 4}})
		if err != nil {
			t.Fatal(err)
		}
		s := m.Start(20)
		m.Step(&s, 3600, 700, false)
		if err := m.CheckState(&s); err != nil {
			t.Fatal(err)
		}
		if clear := m.Read(&s).Flasks[0].ClearFraction; !(clear >= 0 && clear <= 1) {
			t.Fatalf("%g of it is clear", clear)
		}
	})
}
