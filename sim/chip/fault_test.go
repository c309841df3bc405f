package chip_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/sensor/thermocouple"
	"calx/sim/chip"
)

func TestParseFault(t *testing.T) {
	for _, name := range chip.FaultNames() {
		k, err := chip.ParseFault(name)
		require.NoError(t, err)
		assert.Equal(t, name, k.String())
	}
	_, err := chip.ParseFault("burnt")
	assert.ErrorContains(t, err, `fault "burnt" is not known; known are open, short_ground`)
}

func TestParseFaultValue(t *testing.T) {
	tests := []struct {
		kind  chip.Kind
		text  string
		value float64
		err   string
	}{
		{chip.Drift, "-3.5", -3.5, ""},
		{chip.Drift, "", 10, ""},
		{chip.Open, "", 0, ""},
		{chip.WrongType, "N", 'N', ""},
		{chip.WrongType, "X", 0, "want one of BEJKNRST"},
		{chip.WrongType, "", 0, "want one letter of BEJKNRST"},
		{chip.Slipped, "1.2", 0, "value 1.2 is outside 0 to 1"},
		{chip.Slipped, "NaN", 0, "outside"},
		{chip.BitFlips, "often", 0, `value "often" is not a number`},
	}
	for _, tt := range tests {
		f, err := chip.ParseFaultValue(tt.kind, tt.text)
		if tt.err != "" {
			assert.ErrorContains(t, err, tt.err)
			continue
		}
		assert.NoError(t, err)
		assert.Equal(t, chip.Fault{Kind: tt.kind, Value: tt.value}, f)
	}
}

func TestInjectRefuses(t *testing.T) {
	r := new31856(t, thermocouple.K)
	assert.ErrorContains(t, r.Inject(chip.Fault{Kind: chip.Welded}), "fault welded is for a relay")
	assert.ErrorContains(t, r.Inject(chip.Fault{Kind: chip.Drift, Value: 1e6}), "outside -1000 to 1000")
	assert.ErrorContains(t, r.Inject(chip.Fault{Kind: 99}), "not known")
	assert.ErrorContains(t, r.Inject(chip.Fault{Kind: chip.WrongType, Value: math.NaN()}), "want one of")
	assert.Empty(t, r.Faults())
}

// What a K-configured ideal reader shows of other probes, cold junction 25 °C:
// computed from NIST SRD 60, to 0.1 °C.
func TestWrongType(t *testing.T) {
	tests := []struct {
		probe       thermocouple.Type
		hotC, readC float64
	}{
		{'N', 200, 152.9}, {'N', 500, 416.4}, {'N', 730, 626.9}, {'N', 1000, 881.8},
		{'S', 200, 56.7}, {'S', 500, 124.2}, {'S', 730, 182.8}, {'S', 1000, 257.1},
	}
	for _, tt := range tests {
		r := new31856(t, thermocouple.K)
		r.write(cr0, auto)
		require.NoError(t, r.Inject(chip.Fault{Kind: chip.WrongType, Value: float64(tt.probe)}))
		r.Set(tt.hotC, 25)
		r.now += time.Second
		assert.InDelta(t, tt.readC, hot19(r.read(ltcbh, 3)), 0.06, "%v at %v °C", tt.probe, tt.hotC)
	}
}

// Faults of the probe: what an ideal reader shows.
func TestProbeFaults(t *testing.T) {
	tests := []struct {
		fault         chip.Fault
		hotC, coldC   float64
		after         time.Duration
		readC, within float64
	}{
		{chip.Fault{Kind: chip.Slipped, Value: 0.25}, 700, 20, time.Second, 530, 0.01},
		{chip.Fault{Kind: chip.Slipped, Value: 1}, 700, 20, time.Second, 20, 0.01},
		{chip.Fault{Kind: chip.Drift, Value: -6}, 700, 20, 2*time.Hour + 50*time.Millisecond, 688, 0.01},
		// E(25 °C) = 1.000 mV; 1.000 - (2.023 - 1.000) mV is -0.58 °C
		// (NIST SRD 60, type K).
		{chip.Fault{Kind: chip.Reversed}, 50, 25, time.Second, -0.58, 0.03},
	}
	for _, tt := range tests {
		r := new31856(t, thermocouple.K)
		r.write(cr0, auto)
		require.NoError(t, r.Inject(tt.fault))
		r.Set(tt.hotC, tt.coldC)
		r.now += tt.after
		assert.InDelta(t, tt.readC, hot19(r.read(ltcbh, 3)), tt.within, "%v", tt.fault)
		assert.Equal(t, []chip.Fault{tt.fault}, r.Faults())
		r.Clear(tt.fault.Kind)
		assert.Empty(t, r.Faults())
		r.now += time.Second
		assert.InDelta(t, tt.hotC, hot19(r.read(ltcbh, 3)), 0.01)
	}
}

func TestBusFaults(t *testing.T) {
	r := newRig(t, chip.Options{Model: chip.MAX31855, Type: thermocouple.K})
	r.Set(25, 25)
	good := r.word(4, powered)
	require.NoError(t, r.Inject(chip.Fault{Kind: chip.BusLow}))
	assert.Zero(t, r.word(4, powered))
	r.Clear(chip.BusLow)
	require.NoError(t, r.Inject(chip.Fault{Kind: chip.BusHigh}))
	assert.Equal(t, uint32(0xFFFFFFFF), r.word(4, powered))
	r.Clear()
	assert.Equal(t, good, r.word(4, powered))

	require.NoError(t, r.Inject(chip.Fault{Kind: chip.TransferError}))
	assert.ErrorContains(t, r.conn.Tx(nil, make([]byte, 4)), r.name+": transfer: input/output error")
	r.Clear()
	assert.Equal(t, good, r.word(4, 0))
}

// Over 10 000 frames of 32 bits the share of flipped bits is within five
// standard deviations of the rate.
func TestBitFlips(t *testing.T) {
	const rate, frames = 0.01, 10000
	r := newRig(t, chip.Options{Model: chip.MAX31855, Type: thermocouple.K, Seed: 1})
	r.Set(25, 25)
	good := r.word(4, powered)
	require.NoError(t, r.Inject(chip.Fault{Kind: chip.BitFlips, Value: rate}))
	flipped := 0
	for range frames {
		for w := r.word(4, 0) ^ good; w != 0; w &= w - 1 {
			flipped++
		}
	}
	n := float64(32 * frames)
	assert.InDelta(t, n*rate, flipped, 5*math.Sqrt(n*rate*(1-rate)))
}

func TestFrozen(t *testing.T) {
	r := newRig(t, chip.Options{Model: chip.MAX31855, Type: thermocouple.K, Seed: 1,
		Deviation: chip.TypicalNoise(chip.MAX31855, thermocouple.K)})
	r.Set(500, 25)
	r.now += powered
	require.NoError(t, r.Inject(chip.Fault{Kind: chip.Frozen}))
	frozen := r.word(4, 0)
	r.Set(900, 40)
	for range 100 {
		require.Equal(t, frozen, r.word(4, time.Second))
	}
	r.Clear()
	assert.InDelta(t, 906, hot14(r.word(4, time.Second)), 2)
}

func TestBrownOutOfFrameChip(t *testing.T) {
	r := newRig(t, chip.Options{Model: chip.MAX31855, Type: thermocouple.K})
	r.Set(25, 25)
	good := r.word(4, powered)
	require.NoError(t, r.Inject(chip.Fault{Kind: chip.BrownOut}))
	assert.Empty(t, r.Faults(), "happens once")
	assert.Zero(t, r.word(4, 100*time.Millisecond))
	assert.Equal(t, good, r.word(4, powered))
}
