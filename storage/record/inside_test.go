package record

import (
	"encoding/hex"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The bytes of a head as calx wrote it before there were moulds: version 1, then
// tag, length and value of number, name and units.
func TestHeadsFromBeforeMouldsRead(t *testing.T) {
	body, err := hex.DecodeString("01" + "010107" + "0204706f6473" + "0d0146")
	require.NoError(t, err)
	got, err := DecodeFiring(seal(body))
	require.NoError(t, err)
	assert.Equal(t, Firing{ID: 7, Name: "pods", Units: "F"}, got)
	assert.Nil(t, got.Moulds)
	assert.Empty(t, got.Beliefs, "the physics alone")
}

func TestInsideByName(t *testing.T) {
	r := Reading{Observer: []float64{300, 310, 0.5, 0.9, 0.1, 400, 410, 0.25, 0.8, 0.2, 0.75}}
	require.Equal(t, 2, r.Moulds())
	assert.Equal(t, Inside{300, 310, 0.5, 0.9, 0.1}, r.Mould(0))
	assert.Equal(t, Inside{400, 410, 0.25, 0.8, 0.2}, r.Mould(1))
	assert.Equal(t, 0.75, r.ClearChance())
	for n := range 5 {
		assert.Zero(t, (&Reading{Observer: make([]float64, n)}).Moulds(), "%d figures are something else", n)
	}
}
