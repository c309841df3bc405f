package kiln_test

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/sim/kiln"
	"calx/sim/quantity"
)

// load returns a shipped kiln or stops the test.
func load(t testing.TB, name string) kiln.Params {
	t.Helper()
	data, err := kiln.ShippedFile(name)
	require.NoError(t, err)
	p, err := kiln.Load(name+".yaml", data)
	require.NoError(t, err)
	return p
}

func TestShippedLoad(t *testing.T) {
	require.GreaterOrEqual(t, len(kiln.Shipped()), 6)
	for _, name := range kiln.Shipped() {
		p := load(t, name)
		assert.Equal(t, name, p.Name)
		assert.Contains(t, p.About, "L", name)
	}
	_, err := kiln.ShippedFile("no-such")
	assert.ErrorContains(t, err, `kiln "no-such" does not come with calx; there are bench-12l-brick-120v, `)
}

func TestShippedMatchSchema(t *testing.T) {
	schema := compile(t)
	for _, name := range kiln.Shipped() {
		data, err := kiln.ShippedFile(name)
		require.NoError(t, err)
		assert.NoError(t, schema.Validate(plain(t, data)), name)
	}
	for _, bad := range []string{
		"name: x\n",
		"name: x\nmax: 1100\n",
		"name: x\nmax: 1100 C\ncolour: red\n",
	} {
		assert.Error(t, schema.Validate(plain(t, []byte(bad))), bad)
	}
}

func compile(t *testing.T) *jsonschema.Schema {
	t.Helper()
	var doc any
	require.NoError(t, json.Unmarshal(kiln.Schema(), &doc))
	c := jsonschema.NewCompiler()
	require.NoError(t, c.AddResource("kiln.json", doc))
	s, err := c.Compile("kiln.json")
	require.NoError(t, err)
	return s
}

// plain is the YAML as the untyped JSON a validator sees.
func plain(t *testing.T, data []byte) any {
	t.Helper()
	text, err := yaml.YAMLToJSON(data)
	require.NoError(t, err)
	var v any
	require.NoError(t, json.Unmarshal(text, &v))
	return v
}

func TestRoundTrip(t *testing.T) {
	for _, name := range kiln.Shipped() {
		p := load(t, name)
		data, err := yaml.Marshal(p)
		require.NoError(t, err)
		back, err := kiln.Load("again.yaml", data)
		require.NoError(t, err, "%s", data)
		assert.Equal(t, p, back)
	}
}

func TestLoadReportsAllProblems(t *testing.T) {
	data, err := kiln.ShippedFile("bench-9l-brick")
	require.NoError(t, err)
	for _, tt := range []struct{ name, old, new, want string }{
		{"unit missing", "rated: 2.4 kW", "rated: 2.4", "k.yaml:22:10: elements.rated: 2.4: a power needs a unit, for example 2.4 kW or 1500 W"},
		{"unit wrong", "width: 220 mm", "width: 220 m", "k.yaml:7:10: chamber.width: 220 m is outside 30 mm to 2 m"},
		{"wire", "wire: 1.3 mm", "wire: 0.5 mm", "k.yaml:23:9: elements.wire: this wire would carry"},
		{"material", "firebrick 23", "firebrick 99", `k.yaml:13:16: walls[0].material: "firebrick 99" is not known; use firebrick 20, firebrick 23,`},
		{"no material", "material: firebrick 23, ", "", "walls[0]: names no material; give one, or conductivity, density and heat_capacity together"},
		{"both", "material: firebrick 23, ", "material: firebrick 23, density: 500 kg/m3, ", "walls[0]: has a material and properties of its own"},
		{"relay", "kind: contactor", "kind: relay", `relay.kind: "relay" is not known; use ssr, contactor`},
		{"unknown field", "max:", "maximum:", "maximum: unknown field; the fields here are name, about, max"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			text := replaceOnce(t, string(data), tt.old, tt.new)
			p, err := kiln.Load("k.yaml", []byte(text))
			assert.ErrorContains(t, err, tt.want)
			assert.Equal(t, kiln.Params{}, p)
		})
	}
	text := replaceOnce(t, replaceOnce(t, string(data), "width: 220 mm", "width: 220 m"), "rated: 2.4 kW", "rated: 2.4 W")
	_, err = kiln.Load("k.yaml", []byte(text))
	var all quantity.Errors
	require.ErrorAs(t, err, &all)
	assert.Len(t, all, 2)
}

func TestLoadAcceptsOwnMaterial(t *testing.T) {
	data, err := kiln.ShippedFile("bench-9l-brick")
	require.NoError(t, err)
	text := replaceOnce(t, string(data), "material: firebrick 23, ", "conductivity: 0.3 W/m/K, density: 700 kg/m3, heat_capacity: 1 kJ/kg/K, ")
	p, err := kiln.Load("k.yaml", []byte(text))
	require.NoError(t, err)
	m := p.Walls[0].Made()
	assert.Equal(t, 0.3, m.K(500))
	assert.InDelta(t, 700e3, m.RhoCp(500), 1e-6)
}

func replaceOnce(t *testing.T, s, old, new string) string {
	t.Helper()
	before, after, ok := strings.Cut(s, old)
	require.True(t, ok, "%q is not in the file", old)
	return before + new + after
}
