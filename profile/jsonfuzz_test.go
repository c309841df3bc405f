package profile

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// Whatever comes as JSON is refused in words and changes nothing, or is a
// profile that writes and reads as itself, as JSON and as text.
func FuzzJSON(f *testing.F) {
	for _, name := range Shipped() {
		text, err := ShippedText(name)
		require.NoError(f, err)
		p, err := Parse(text)
		require.NoError(f, err)
		data, err := json.Marshal(p)
		require.NoError(f, err)
		f.Add(data)
	}
	f.Add([]byte(`{"version":1,"units":"F","never_above_c":735,"steps":[{"do":"hold","until":"clear","clear":0.95,"at_most_s":36000}]}`))
	f.Add([]byte(`{"version":1,"units":"C","steps":[{"do":"heat","to_c":1e308,"rate_c_per_h":5e-324},{"do":"tell","message":"\ud800\u0000"}]}`))
	f.Add([]byte(`{"version":1,"units":"C","steps":[{"do":"hold","until":"24:61"},{"do":"wait","below_c":null},{"do":"air","on":"yes"}]}`))
	f.Add([]byte(`{"version":1,"units":"F","steps":[{"do":"hold","until":"clear","clear":0.95,"at_most_s":36000}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		before := Profile{CeilingC: 1, Steps: []Step{{Kind: Air}}}
		p := before
		if err := json.Unmarshal(data, &p); err != nil {
			require.Equal(t, before, p)
			require.NotEmpty(t, strings.TrimSpace(err.Error()))
			return
		}
		if strings.TrimSpace(string(data)) == "null" {
			return // by convention of encoding/json no value at all
		}
		require.NoError(t, p.Check())
		again, err := json.Marshal(p)
		require.NoError(t, err)
		var q Profile
		require.NoError(t, json.Unmarshal(again, &q))
		require.Equal(t, p, q)
		if len(p.Steps) == 0 {
			return
		}
		r, err := Parse(p.String())
		require.NoError(t, err, p.String())
		for i := range r.Steps {
			r.Steps[i].Line = p.Steps[i].Line
		}
		require.Equal(t, p, *r)
	})
}
