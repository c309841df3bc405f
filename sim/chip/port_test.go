package chip_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"
	"periph.io/x/conn/v3/spi/spireg"

	"calx/sensor/thermocouple"
	"calx/sim/chip"
)

func packets(w, r []byte) []spi.Packet {
	return []spi.Packet{{W: w, KeepCS: true}, {R: r}}
}

func zero() time.Duration { return 0 }

func TestNewRefuses(t *testing.T) {
	tests := []struct {
		o   chip.Options
		err string
	}{
		{chip.Options{Model: chip.MAX31855, Type: 'K'}, "Options.Now is missing"},
		{chip.Options{Model: chip.MAX31855, Type: 'X', Now: zero}, `type 'X' is not one of BEJKNRST`},
		{chip.Options{Model: chip.MAX31855, Type: 'B', Now: zero}, "no MAX31855 for type B"},
		{chip.Options{Model: chip.MAX6675, Type: 'N', Now: zero}, "type K only"},
		{chip.Options{Model: 9, Type: 'K', Now: zero}, "Model(9) does not exist"},
	}
	for _, tt := range tests {
		_, err := chip.New(tt.o)
		assert.ErrorContains(t, err, tt.err)
	}
	for _, name := range []string{"max31855", "max31856", "max6675"} {
		m, err := chip.ParseModel(name)
		require.NoError(t, err)
		assert.Equal(t, name, m.String())
	}
	_, err := chip.ParseModel("max31865")
	assert.ErrorContains(t, err, "known are max31855, max31856, max6675")
}

func TestRegistry(t *testing.T) {
	c, err := chip.New(chip.Options{Model: chip.MAX31855, Type: 'K', Now: zero})
	require.NoError(t, err)
	assert.ErrorContains(t, c.Unregister(), "not registered")
	require.NoError(t, c.Register("SIM0.0"))
	assert.ErrorContains(t, c.Register("SIM0.1"), "registered as SIM0.0 already")
	assert.Equal(t, "max31855{SIM0.0}", c.String())

	other, err := chip.New(chip.Options{Model: chip.MAX31856, Type: 'K', Now: zero})
	require.NoError(t, err)
	assert.ErrorContains(t, other.Register("SIM0.0"), "twice")

	p, err := spireg.Open("SIM0.0")
	require.NoError(t, err)
	assert.Equal(t, "SIM0.0", p.String())
	require.NoError(t, p.Close())
	assert.ErrorContains(t, p.Close(), "closed already")
	require.NoError(t, c.Unregister())
	_, err = spireg.Open("SIM0.0")
	assert.Error(t, err)
	require.NoError(t, other.Register("SIM0.0"), "the name is free again")
	require.NoError(t, other.Unregister())
}

func TestConnect(t *testing.T) {
	tests := []struct {
		name  string
		model chip.Model
		f     physic.Frequency
		limit physic.Frequency
		mode  spi.Mode
		bits  int
		err   string
	}{
		{"31855", chip.MAX31855, 5 * physic.MegaHertz, 0, spi.Mode0, 8, ""},
		{"31855 in mode 3", chip.MAX31855, 5 * physic.MegaHertz, 0, spi.Mode3, 8, "takes SPI [Mode0], not Mode3"},
		{"31856 in mode 1", chip.MAX31856, 5 * physic.MegaHertz, 0, spi.Mode1, 8, ""},
		{"31856 in mode 3", chip.MAX31856, 5 * physic.MegaHertz, 0, spi.Mode3, 8, ""},
		{"31856 in mode 0", chip.MAX31856, 5 * physic.MegaHertz, 0, spi.Mode0, 8, "not Mode0"},
		{"no chip select", chip.MAX31855, 5 * physic.MegaHertz, 0, spi.Mode0 | spi.NoCS, 8, "not Mode0|NoCS"},
		{"6675 too fast", chip.MAX6675, 5 * physic.MegaHertz, 0, spi.Mode0, 8, "up to 4.300MHz, not 5MHz"},
		{"6675 limited", chip.MAX6675, 5 * physic.MegaHertz, physic.MegaHertz, spi.Mode0, 8, ""},
		{"any speed", chip.MAX31855, 0, 0, spi.Mode0, 8, "up to 5MHz, not 0Hz"},
		{"any speed, limited", chip.MAX31855, 0, physic.MegaHertz, spi.Mode0, 8, ""},
		{"16 bits", chip.MAX31855, physic.MegaHertz, 0, spi.Mode0, 16, "16 bits a word"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r := newRig(t, chip.Options{Model: tt.model, Type: 'K'})
			p, err := spireg.Open(r.name)
			require.NoError(t, err)
			if tt.limit != 0 {
				require.NoError(t, p.LimitSpeed(tt.limit))
			}
			c, err := p.Connect(tt.f, tt.mode, tt.bits)
			if tt.err != "" {
				require.ErrorContains(t, err, tt.err)
				return
			}
			require.NoError(t, err)
			_, err = p.Connect(tt.f, tt.mode, tt.bits)
			assert.ErrorContains(t, err, "already connected")
			assert.Equal(t, conn.Full, c.Duplex())
			require.NoError(t, p.Close())
			assert.ErrorContains(t, c.Tx(nil, make([]byte, 4)), "port is closed")
		})
	}
}

func TestTransferRefuses(t *testing.T) {
	r := newRig(t, chip.Options{Model: chip.MAX31855, Type: thermocouple.K})
	assert.ErrorContains(t, r.conn.Tx(make([]byte, 3), make([]byte, 4)), "3 bytes out and 4 in")
	assert.ErrorContains(t, r.conn.Tx(nil, nil), "nothing to send")
	assert.ErrorContains(t, r.conn.Tx(nil, make([]byte, 5000)), "at most 4096")
	assert.ErrorContains(t, r.conn.TxPackets([]spi.Packet{{R: make([]byte, 4), BitsPerWord: 16}}), "16 bits a word")
}
