package quantity_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/sim/quantity"
)

type layer struct {
	Material  string          `yaml:"material"`
	Thickness quantity.Length `yaml:"thickness"`
}

type oven struct {
	Name   string               `yaml:"name"`
	Max    quantity.Temperature `yaml:"max"`
	Cycles int                  `yaml:"cycles,omitempty"`
	Fan    bool                 `yaml:"fan,omitempty"`
	Walls  []layer              `yaml:"walls,omitempty"`
	Extra  *layer               `yaml:"extra,omitempty"`
}

func (o *oven) Check() []quantity.Problem {
	if o.Max > 1300 {
		return []quantity.Problem{{Path: "max", Text: o.Max.String() + " is above 1300 C"}}
	}
	return nil
}

func TestDecode(t *testing.T) {
	o := oven{Cycles: 5}
	err := quantity.Decode("oven.yaml", []byte(`
# a comment
name: small
max: 1350 F
fan: true
walls:
  - material: brick
    thickness: 2 1/2 in
  - {material: fibre, thickness: 25 mm}
extra: {material: 96, thickness: "10 mm"}
`), &o)
	require.NoError(t, err)
	assert.Equal(t, oven{Name: "small", Max: 1318.0 * 5 / 9, Cycles: 5, Fan: true,
		Walls: []layer{{"brick", 0.0635}, {"fibre", 0.025}}, Extra: &layer{"96", 0.01}}, o)
}

func TestDecodeBearsTabsBesideValues(t *testing.T) {
	var o oven
	require.NoError(t, quantity.Decode("f", []byte("name: \"a\tb\"\t# c\td\nmax:\t5 C\t\nextra:\n  material: |\n    a\tb\n  thickness:\t1 mm # c\td\n"), &o))
	assert.Equal(t, oven{Name: "a\tb", Max: 5, Extra: &layer{"a\tb\n", 0.001}}, o)
}

func TestDecodeReportsEverythingInOrder(t *testing.T) {
	o := oven{Cycles: 5}
	err := quantity.Decode("oven.yaml", []byte(`name: small
cycles: many
colour: red
walls:
  - material: brick
    thickness: 90
  - thickness: 9 cm
fan: yes
`), &o)
	assert.EqualError(t, err, `oven.yaml:1:1: max: missing; it must be given
oven.yaml:2:9: cycles: read many; a whole number is needed
oven.yaml:3:1: colour: unknown field; the fields here are name, max, cycles, fan, walls, extra
oven.yaml:6:16: walls[0].thickness: 90: a length needs a unit, for example 90 mm or 3 1/2 in
oven.yaml:7:5: walls[1].material: missing; it must be given
oven.yaml:8:6: fan: read yes; true or false is needed`)
	assert.Equal(t, oven{Cycles: 5}, o, "a failed read must change nothing")
	var one quantity.Error
	require.ErrorAs(t, err, &one)
	assert.Equal(t, 1, one.Line)
}

func TestDecodeField(t *testing.T) {
	var l layer
	err := quantity.DecodeField("f", []byte("nonsense: {a: 1}\nwall: {material: 017, thickness: 2 cm}\n? x\n"), "wall", &l)
	require.NoError(t, err)
	assert.Equal(t, layer{"017", 0.02}, l)
	for text, want := range map[string]string{
		"a: 1\n":                              "f:1:1: wall: missing",
		"- wall\n":                            "f:1:1: wall: missing",
		"wall:\n":                             "wall: no value",
		"wall: {materiel: a}\n":               "f:1:8: wall.materiel: unknown field",
		"wall: {material: a, thickness: 9}\n": "f:1:32: wall.thickness: 9: a length needs a unit",
		"wall: {material: a, thickness: 1 m}\nwall: {}\n": "f:2:1:",
		"a: [\n": "not readable as YAML",
	} {
		assert.ErrorContains(t, quantity.DecodeField("f", []byte(text), "wall", &l), want, text)
	}
	var o oven
	assert.ErrorContains(t, quantity.DecodeField("f", []byte("a:\n  name: x\n  max: 1400 C\n"), "a", &o), "f:3:8: a.max: 1400 C is above 1300 C")
}

func TestDecodeRefuses(t *testing.T) {
	for _, tt := range []struct{ name, text, want string }{
		{"empty", "", "f:1:1: the file is empty"},
		{"comment only", "# nothing\n", "f:1:1: the file is empty"},
		{"syntax", "name: [a\n", "not readable as YAML"},
		{"twice", "name: a\nmax: 5 C\nmax: 6 C\n", "f:3:1:"},
		{"two documents", "name: a\nmax: 5 C\n---\nname: b\n", "f:4:1: a second document"},
		{"anchor", "name: &x a\nmax: 5 C\n", "f:1:7: name: YAML anchors"},
		{"null", "name:\nmax: 5 C\n", "name: no value"},
		{"list for a map", "- a\n", "f:1:1: the file: read sequence; fields are needed here: name, max"},
		{"map for a list", "name: a\nmax: 5 C\nwalls: {a: 1}\n", "walls: read mapping; a list is needed"},
		{"map for a value", "name: a\nmax: {a: 1}\n", "max: one value is needed"},
		{"tab in a value", "name: a\nmax: 5\t0 C\n", "f:2:6: a tab stands in this value; write a space in its place"},
		{"deep list", "name: " + strings.Repeat("[", 40_000), "f:1:39: brackets nested more than 32 deep; close them"},
		{"deep map", strings.Repeat("{a: ", 15_000), "f:1:129: brackets nested more than 32 deep; close them"},
		{"closed again", "name: [" + strings.Repeat("[{}], ", 40) + "]\nmax: 5 C\n", "f:1:7: name: read sequence; text is needed"},
		{"long", "name: a\nmax: 5 C\n" + strings.Repeat("#\n", 40_000), "f:1:1: the file is 78 kB long; at most 64 kB are read, is this the right file?"},
		{"range", "name: a\nmax: 1400 C\n", "f:2:6: max: 1400 C is above 1300 C"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			assert.ErrorContains(t, quantity.Decode("f", []byte(tt.text), new(oven)), tt.want)
		})
	}
}

// FuzzDecode holds that no input panics and that an error changes nothing.
func FuzzDecode(f *testing.F) {
	f.Add([]byte("name: a\nmax: 5 C\nwalls:\n  - {material: b, thickness: 1 mm}\n"))
	f.Add([]byte("a: &b [*b]"))
	f.Fuzz(func(t *testing.T, data []byte) {
		var o oven
		if err := quantity.Decode("f", data, &o); err != nil {
			assert.Equal(t, oven{}, o)
			assert.NotEmpty(t, err.Error())
		}
	})
}
