package summary

import (
	"bytes"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/storage/record"
)

// hourly are readings an hour apart of two kinds of mould: water left, share
// burnt of each, and the chance.
func hourly(figures ...[5]float64) (out []record.Reading) {
	for i, f := range figures {
		out = append(out, record.Reading{
			Since:    time.Duration(i) * time.Hour,
			Observer: []float64{100, 110, f[0], 0, f[1], 200, 210, f[2], 0, f[3], f[4]},
		})
	}
	return out
}

func TestInside(t *testing.T) {
	head := record.Firing{Name: "pods", Outcome: "finished"}
	rs := hourly([5]float64{1, 0, 1, 0, 0}, [5]float64{0.5, 0, 0.0005, 0.2, 0.1}, [5]float64{0.0005, 0.5, 0, 0.996, 0.4}, [5]float64{0, 0.996, 0, 1, 0.85}, [5]float64{0, 1, 0, 1, 0.934})
	s := Summarise(head, rs, nil)
	assert.Equal(t, Number(2*3600), s.DryAtS, "the last one counts")
	assert.Equal(t, Number(3*3600), s.ClearAtS)
	assert.Equal(t, Number(0.934), s.ChanceClear, "at the end")
	s.Evidence = "physics alone, no test pieces"
	var b bytes.Buffer
	require.NoError(t, WriteSummary(&b, s, false, false))
	assert.Contains(t, b.String(), "  dry             after 2 h 00 min by the model\n")
	assert.Contains(t, b.String(), "  clear           after 3 h 00 min by the model\n")
	assert.Contains(t, b.String(), "  chance of clear 93 % at the end, on physics alone, no test pieces\n")

	early := Summarise(head, rs[:3], nil)
	assert.False(t, early.ClearAtS.Known())
	b.Reset()
	require.NoError(t, WriteSummary(&b, early, false, false))
	assert.Contains(t, b.String(), "  clear           not in this firing by the model\n")

	none := Summarise(head, []record.Reading{{}, {Observer: []float64{1, 2}}}, nil)
	assert.False(t, none.DryAtS.Known() || none.ClearAtS.Known() || none.ChanceClear.Known())
	b.Reset()
	require.NoError(t, WriteSummary(&b, none, false, false))
	assert.NotContains(t, b.String(), "clear")
	assert.Equal(t, "over 99 %", percent(0.9999))
}
