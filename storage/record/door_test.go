package record

import (
	"encoding/hex"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// doorlessBlock is what calx wrote before it knew a door: the bytes of its
// encoder of then for doorlessReadings, kept as they were.
func doorlessBlock(t testing.TB) []byte {
	const was = "0102000000090480a0d9e61dc089a0da826701010303808080808080e0e2800180808080808080d07f808080808080e082810140ae0990068080" +
		"80808080dce28001808080808080c0b880011090060182808080808080f8ff01808080808080c0b88001808080808080c0b5800180808080808080c0" +
		"7f0efff782ad160002020303ffffffffffffd7048080808080808010808080808080a80b4a040224c00700818080808080809a7f8080808080802080" +
		"80808080808010be6a4a13"
	b, err := hex.DecodeString(was)
	require.NoError(t, err)
	return b
}

func doorlessReadings() []Reading {
	at := time.Date(2026, 1, 31, 20, 0, 0, 0, time.UTC)
	return []Reading{
		{Seq: 4, Since: 4 * time.Second, Wall: at, SetpointC: 150, Duty: 0.25, Relay: true, EnergyJ: 600, Step: 1, Phase: Ramping,
			Channels: []Sample{{HotC: 149.75, ColdC: 24.5, HotCode: 599, ColdCode: 392}, {HotC: math.NaN(), ColdC: 24.5, ColdCode: 392, Fault: 1}},
			Observer: []float64{21.5, 0.125}},
		{Seq: 5, Since: 5 * time.Second, Wall: at.Add(time.Second), SetpointC: 150, Duty: 0.5, Air: true, EnergyJ: 1200, Step: 2, Phase: Holding,
			Channels: []Sample{{HotC: 150.25, ColdC: 24.5625, HotCode: 601, ColdCode: 393}, {HotC: 120, ColdC: 24.5, HotCode: 480, ColdCode: 392}},
			Observer: []float64{21.75, 0.25}},
	}
}

func TestBlocksFromBeforeTheDoor(t *testing.T) {
	b := doorlessBlock(t)
	require.Equal(t, byte(doorless), b[0])
	got, err := DecodeBlock(b)
	require.NoError(t, err)
	assert.Equal(t, plain(doorlessReadings()...), plain(got...))
	start, err := BlockStart(b)
	require.NoError(t, err)
	assert.Equal(t, 4*time.Second, start)
}

// An open door costs two bytes or so when it moves, and nothing else.
func TestDoorIsKept(t *testing.T) {
	rs := firing(100)
	without := len(EncodeBlock(rs))
	for i := 40; i < 60; i++ {
		rs[i].Door = 2
	}
	block := EncodeBlock(rs)
	got, err := DecodeBlock(block)
	require.NoError(t, err)
	assert.Equal(t, plain(rs...), plain(got...))
	assert.LessOrEqual(t, len(block)-without, 2*5, "step, phase, door and two lengths, twice")
}
