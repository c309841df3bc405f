package main

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/cmd/calx/inside"
	"calx/profile/pieces"
	"calx/storage/record"
)

func TestEveryStateOfTheNotebookIsKnownToPieces(t *testing.T) {
	for i, s := range record.PieceStates {
		got, err := pieces.ParseState(s)
		require.NoError(t, err)
		assert.Equal(t, pieces.State(i), got)
	}
}

// A piece that the notebook takes must not make the fit fail for all.
func TestOneOddPieceLeavesTheOthersUsable(t *testing.T) {
	hold := func(p record.Piece) record.Note {
		p.Material, p.HoldC, p.HoldS = "twig", 700, 3600
		n := record.Note{ID: 1, Piece: &p}
		require.NoError(t, n.Check())
		return n
	}
	ev, err := fitEvidence(inside.ReadPulls(nil, []record.Note{
		hold(record.Piece{SectionM: 0.0002, State: "raw"}),
		hold(record.Piece{SectionM: 0.3, State: "clear"}),
		hold(record.Piece{SectionM: 0.01, State: "ash", DryKg: 0.01, ResidueKg: 0.01}),
		hold(record.Piece{SectionM: 0.01, State: "char core", CoreM: 0.0099}),
	}))
	require.NoError(t, err)
	assert.Len(t, ev.used, 4)
	assert.Empty(t, ev.leftOut)
}
