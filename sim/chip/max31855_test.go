package chip_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"calx/sensor/thermocouple"
	"calx/sim/chip"
)

// powered is past the power-up and the first conversion of every model.
const powered = 500 * time.Millisecond

// The codes of data sheet 19-5793, tables 4 and 5. The probe is brought to the
// temperature at which the chip must show the row; rows that no probe reaches
// get the same voltage as an offset at the input.
func TestMAX31855DataSheetCodes(t *testing.T) {
	hot := []struct {
		readC float64
		code  uint32
	}{
		{1600, 0x1900}, {1000, 0x0FA0}, {100.75, 0x0193}, {25, 0x0064}, {0, 0},
		{-0.25, 0x3FFF}, {-1, 0x3FFC}, {-250, 0x3C18},
	}
	for typ, slope := range slopes {
		for _, row := range hot {
			r := newRig(t, chip.Options{Model: chip.MAX31855, Type: typ})
			hotC, ok := hotFor(typ, slope, row.readC, 25)
			if !ok {
				hotC = 25
				r.SetDeviation(chip.Deviation{OffsetMicrovolt: slope * (row.readC - 25)})
			}
			r.Set(hotC, 25)
			w := r.word(4, powered)
			assert.Equalf(t, row.code, w>>18, "type %v at %v °C: got %#08x", typ, row.readC, w)
			assert.Zerof(t, w&0x0003000F, "reserved and fault bits of %#08x", w)
		}
	}
	cold := []struct {
		coldC float64
		code  uint32
	}{
		{127, 0x7F0}, {100.5625, 0x649}, {25, 0x190}, {0, 0}, {-0.0625, 0xFFF},
		{-1, 0xFF0}, {-20, 0xEC0}, {-55, 0xC90},
	}
	for _, row := range cold {
		r := newRig(t, chip.Options{Model: chip.MAX31855, Type: thermocouple.K})
		r.Set(row.coldC, row.coldC)
		w := r.word(4, powered)
		assert.Equalf(t, row.code, w>>4&0xFFF, "cold junction at %v °C: got %#08x", row.coldC, w)
	}
}

// Whole words assembled by hand from the bit fields of the same tables.
func TestMAX31855Words(t *testing.T) {
	tests := []struct {
		readC, coldC float64
		word         uint32
	}{
		{25, 25, 0x01901900}, {1000, 25, 0x3E801900}, {736.75, 25, 0x2E0C1900},
		{100.75, 100.5625, 0x064C6490}, {-0.25, -0.0625, 0xFFFCFFF0},
	}
	for _, tt := range tests {
		r := newRig(t, chip.Options{Model: chip.MAX31855, Type: thermocouple.K})
		hotC, ok := hotFor(thermocouple.K, slopes['K'], tt.readC, tt.coldC)
		assert.True(t, ok)
		r.Set(hotC, tt.coldC)
		got := r.word(4, powered)
		assert.Equalf(t, tt.word, got, "%v over %v °C: got %#08x", tt.readC, tt.coldC, got)
	}
}

// The linear chip is wrong by as much as ITS-90 is curved. The errors were
// computed from the reference functions of NIST SRD 60 and the data sheet's
// slopes, to 0.1 °C, cold junction 25 °C; a reading adds half a step.
func TestMAX31855LinearError(t *testing.T) {
	atC := []float64{100, 200, 300, 400, 500, 600, 700, 800, 1000, 1200}
	errorsC := map[thermocouple.Type][]float64{
		'K': {0.0, -2.1, -3.5, -2.0, 0.9, 4.2, 6.5, 6.9, 0.8, -16.0},
		'N': {-16.7, -30.1, -35.5, -35.3, -31.2, -24.6, -16.7, -8.3, 6.8, 16.2},
		'S': {-22.5, -39.6, -47.6, -49.9, -48.3, -43.4, -35.3, -23.7, 10.1, 56.7},
		'R': {-26.8, -48.6, -59.9, -64.0, -62.8, -56.9, -46.6, -31.7, 11.6, 70.7},
		'J': {-6.1, -11.1, -15.3, -20.0, -24.4, -25.9, -21.8, -12.0, 3.0, 3.1},
		'E': {-11.8, -18.8, -19.1, -15.6, -10.0, -4.1, 0.9, 4.4, 5.4},
	}
	for typ, row := range errorsC {
		r := newRig(t, chip.Options{Model: chip.MAX31855, Type: typ})
		for i, e := range row {
			r.Set(atC[i], 25)
			assert.InDeltaf(t, e, hot14(r.word(4, powered))-atC[i], 0.05+0.125+1e-9, "type %v at %v °C", typ, atC[i])
			r.now += powered
		}
	}
}

// Timing of data sheet 19-5793 (from memory): 200 ms to power up, 70 ms for a
// conversion, which CS aborts.
func TestMAX31855Timing(t *testing.T) {
	r := newRig(t, chip.Options{Model: chip.MAX31855, Type: thermocouple.K})
	r.Set(25, 25)
	assert.Zero(t, r.word(4, 269*time.Millisecond), "before the first conversion is done")
	assert.Zero(t, r.word(4, 69*time.Millisecond), "CS began the conversion anew")
	assert.EqualValues(t, 0x01901900, r.word(4, 70*time.Millisecond))

	r.Set(500, 25)
	for range 50 {
		assert.EqualValues(t, 0x01901900, r.word(4, 60*time.Millisecond), "polled too fast to convert")
	}
	assert.InDelta(t, 500.9, hot14(r.word(4, 70*time.Millisecond)), 0.2)
}

// A conversion shows the junctions as they were in its middle, however much
// later it is read.
func TestMAX31855SamplesMidway(t *testing.T) {
	r := newRig(t, chip.Options{Model: chip.MAX31855, Type: thermocouple.T})
	r.now = time.Second
	r.word(4, 0) // conversions run from 1 s on: the third ends at 1.21 s
	for ; r.now <= 1400*time.Millisecond; r.now += time.Millisecond {
		sinceC := 0.1 * float64((r.now-time.Second)/time.Millisecond)
		r.Set(sinceC, sinceC) // 0.1 °C each ms
	}
	r.now = 1275 * time.Millisecond
	assert.InDelta(t, 17.5, cold12(r.word(4, 0)), 0.04, "the third conversion is centred on 1.175 s")
}

func TestMAX31855ShortReads(t *testing.T) {
	r := newRig(t, chip.Options{Model: chip.MAX31855, Type: thermocouple.K})
	r.Set(25, 25)
	assert.EqualValues(t, 0x0190, r.word(2, powered), "the upper half alone")
	r.now += powered
	b := make([]byte, 6)
	assert.NoError(t, r.conn.Tx(nil, b))
	assert.Equal(t, []byte{0x01, 0x90, 0x19, 0x00, 0, 0}, b)
}

func TestMAX31855FaultBits(t *testing.T) {
	tests := []struct {
		fault chip.Fault
		bits  uint32 // 16 and 2..0: data sheet 19-5793, table 2
	}{
		{chip.Fault{Kind: chip.Open}, 0x10001},
		{chip.Fault{Kind: chip.ShortGround}, 0x10002},
		{chip.Fault{Kind: chip.ShortSupply}, 0x10004},
		{chip.Fault{Kind: chip.OverUnderVoltage, Value: 1}, 0x10004},
		{chip.Fault{Kind: chip.OverUnderVoltage, Value: -1}, 0x10002},
	}
	for _, tt := range tests {
		r := newRig(t, chip.Options{Model: chip.MAX31855, Type: thermocouple.N})
		r.Set(700, 30)
		good := r.word(4, powered)
		assert.NoError(t, r.Inject(tt.fault))
		assert.Equal(t, good, r.word(4, 10*time.Millisecond), "%v: finished conversions keep", tt.fault)
		w := r.word(4, powered)
		assert.Equal(t, tt.bits, w&0x1000F, "%v", tt.fault)
		assert.Equal(t, 30.0, cold12(w))
		r.Clear()
		assert.Equal(t, good, r.word(4, powered))
	}
}
