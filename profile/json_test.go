package profile

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// validator checks documents against the published schema by an independent
// implementation of JSON Schema.
func validator(t *testing.T) func(data []byte) error {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(Schema()))
	require.NoError(t, err)
	c := jsonschema.NewCompiler()
	require.NoError(t, c.AddResource("profile.json", doc))
	s, err := c.Compile("profile.json")
	require.NoError(t, err)
	return func(data []byte) error {
		v, err := jsonschema.UnmarshalJSON(bytes.NewReader(data))
		if err != nil {
			return err
		}
		return s.Validate(v)
	}
}

func TestJSONForm(t *testing.T) {
	p, err := Parse("never above 1355 F\nheat to 302 F at 108 F/h\nhold until clear 95%, at least 3 h, at most 10 h\nhold until 14:05\n" +
		"cool to 300 F unpowered\nhold 1.5 s\nwait until below 45 C\nair off\ntell \"open\"\nheat to 50 C in 1 h")
	require.NoError(t, err)
	data, err := json.Marshal(*p)
	require.NoError(t, err)
	assert.JSONEq(t, `{"version":1,"units":"F","never_above_c":735,"steps":[
		{"do":"heat","line":2,"to_c":150,"rate_c_per_h":60},
		{"do":"hold","line":3,"until":"clear","clear":0.95,"at_least_s":10800,"at_most_s":36000},
		{"do":"hold","line":4,"until":"14:05"},
		{"do":"cool","line":5,"to_c":148.888889,"pace":"unpowered"},
		{"do":"hold","line":6,"for_s":1.5},
		{"do":"wait","line":7,"below_c":45},
		{"do":"air","line":8,"on":false},
		{"do":"tell","line":9,"message":"open"},
		{"do":"heat","line":10,"to_c":50,"in_s":3600}]}`, string(data))
}

func TestJSONErrors(t *testing.T) {
	steps := func(s string) string { return `{"version":1,"units":"C","steps":[` + s + `]}` }
	rows := []struct{ name, data, want string }{
		{"syntax", `{"version":1,`, "unexpected end of JSON input"},
		{"null", `null`, `"version" is 0; this calx reads version 1` + "\n" + `"units" is ""; write "C" or "F"`},
		{"version, units", `{"version":2,"units":"K","steps":[]}`, `"version" is 2; this calx reads version 1` + "\n" + `"units" is "K"; write "C" or "F"`},
		{"no steps", steps(""), "there is no step in this profile; it needs at least one"},
		{"unknown key", steps(`{"do":"heat","too_c":1}`), `profile: json: unknown field "too_c"`},
		{"wrong type", steps(`{"do":"heat","to_c":"150 C"}`), `profile: "steps.to_c" cannot be string; write a number`},
		{"wrong list", `{"version":1,"units":"C","steps":7}`, `profile: "steps" cannot be number; write a list or an object`},
		{"wrong flag", steps(`{"do":"air","on":"on"}`), `profile: "steps.on" cannot be string; write true or false`},
		{"wrong text", steps(`{"do":"tell","message":3}`), `profile: "steps.message" cannot be number; write a text in quotes`},
		{"wrong document", `[]`, `profile: the document cannot be array; write a list or an object`},
		{"overflow", steps(`{"do":"heat","to_c":1e999}`), `profile: "steps.to_c" cannot be number 1e999; write a number`},
		{"unknown step", steps(`{"do":"ramp"}`), `step 1: "do" is "ramp"; write heat, cool, hold, wait, air or tell`},
		{"missing key", steps(`{"do":"heat","rate_c_per_h":60}`), `step 1: in this "heat" step it needs "to_c"`},
		{"foreign keys", steps(`{"do":"wait","below_c":45,"to_c":3,"for_s":60}`),
			`step 1: in this "wait" step "to_c" does not belong in it, "for_s" does not belong in it`},
		{"two paces", steps(`{"do":"heat","to_c":150,"rate_c_per_h":60,"in_s":60}`), `step 1: in this "heat" step "in_s" does not belong in it`},
		{"no pace", steps(`{"do":"heat","to_c":150}`), `step 1: read "heat to 150 C": does not say how fast; ` + heatUsage},
		{"misspelt end", steps(`{"do":"hold","until":"drie","at_most_s":60}`), `step 1: in this "hold" step "until" does not belong in it`},
		{"no most", steps(`{"do":"hold","until":"dry","line":7}`),
			`line 7: read "dry": has no longest time, and nobody may be there to end it; write "hold until dry, at most 6 h" with your own time`},
		{"above ceiling", `{"version":1,"units":"F","never_above_c":735,"steps":[{"do":"heat","to_c":760,"pace":"fastest"}]}`,
			`step 1: read "1400 F": is above your ceiling of 1355 F; write 1355 F or lower, or raise "never above"`},
		{"ceiling zero", `{"version":1,"units":"C","never_above_c":0,"steps":[]}`, `"never_above_c" is 0; leave it out for no ceiling`},
		{"ceiling high", `{"version":1,"units":"C","never_above_c":2000,"steps":[{"do":"air","on":true}]}`,
			`read "2000 C": is no ceiling; write one above 0 C and up to 1400 C`},
		{"too many steps", steps(strings.Repeat("{},", 20_000) + "{}"), "there are 20001 steps; a profile has at most 500"},
		{"huge time", steps(`{"do":"hold","for_s":1e300}`), `step 1: read "1440 h": is longer than 30 days (720 h); write a shorter time`},
		{"negative time", steps(`{"do":"hold","for_s":-1e300}`), `step 1: read "0 min": takes no time; write a duration above zero, such as 30 min`},
	}
	valid := validator(t)
	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			p := Profile{CeilingC: 1}
			err := json.Unmarshal([]byte(r.data), &p)
			assert.EqualError(t, err, r.want)
			assert.Equal(t, Profile{CeilingC: 1}, p, "left as it was")
			if r.name != "above ceiling" { // the one rule a schema cannot hold
				assert.Error(t, valid([]byte(r.data)), "the schema refuses it too")
			}
		})
	}
}

// Text carries the unit in its figures alone, so JSON must not promise more:
// the profile that is fired is the text.
func TestJSONKeepsAUnitOnlyForDegrees(t *testing.T) {
	rows := []struct{ name, steps, want string }{
		{"none", `{"do":"air","on":true},{"do":"hold","until":"clear","clear":0.95,"at_most_s":60},{"do":"tell","message":"302 F"}`, "C"},
		{"target", `{"do":"heat","to_c":150,"pace":"fastest"}`, "F"},
		{"below", `{"do":"wait","below_c":45}`, "F"},
		{"difference", `{"do":"hold","until":"core","within_c":15,"at_most_s":60}`, "F"},
	}
	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			var p Profile
			require.NoError(t, json.Unmarshal([]byte(`{"version":1,"units":"F","steps":[`+r.steps+`]}`), &p))
			assert.Equal(t, r.want, string(scaleOf(p.Fahrenheit)))
			q, err := Parse(p.String())
			require.NoError(t, err)
			assert.Equal(t, p.Fahrenheit, q.Fahrenheit)
		})
	}
}

func TestSchemaIsACopy(t *testing.T) {
	Schema()[0] = 'x'
	assert.NoError(t, validator(t)([]byte(`{"version":1,"units":"C","steps":[{"do":"air","on":true}]}`)))
}
