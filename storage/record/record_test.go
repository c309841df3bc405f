package record

import (
	"fmt"
	"hash/crc32"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// plain renders a reading with the bits of every float, so that NaN equals
// itself and -0 differs from 0.
func plain(rs ...Reading) []string {
	var out []string
	bits := math.Float64bits
	for _, r := range rs {
		s := fmt.Sprint(r.Seq, int64(r.Since), r.Wall.Unix(), r.Wall.Nanosecond(), bits(r.SetpointC), bits(r.Duty),
			r.Relay, r.Air, bits(r.EnergyJ), r.Step, uint8(r.Phase), r.Door, r.Channels == nil, r.Observer == nil)
		for _, c := range r.Channels {
			s += fmt.Sprint(" ch ", bits(c.HotC), bits(c.ColdC), c.HotCode, c.ColdCode, c.Fault)
		}
		for _, o := range r.Observer {
			s += fmt.Sprint(" ob ", bits(o))
		}
		out = append(out, s)
	}
	return out
}

// anyFloat draws every kind of float, the odd ones often.
func anyFloat() *rapid.Generator[float64] {
	return rapid.OneOf(
		rapid.Float64(),
		rapid.SampledFrom([]float64{0, math.Copysign(0, -1), 1, math.NaN(), math.Inf(1), math.Inf(-1),
			math.MaxFloat64, math.SmallestNonzeroFloat64, math.Float64frombits(0x7ff0000000000001)}),
	)
}

func anyTime() *rapid.Generator[time.Time] {
	return rapid.Custom(func(t *rapid.T) time.Time {
		if rapid.Bool().Draw(t, "zero") {
			return time.Time{}
		}
		return time.Unix(rapid.Int64().Draw(t, "sec"), rapid.Int64Range(0, 999_999_999).Draw(t, "nsec")).UTC()
	})
}

func anySample() *rapid.Generator[Sample] {
	return rapid.Custom(func(t *rapid.T) Sample {
		s := Sample{
			HotC: anyFloat().Draw(t, "hot"), ColdC: anyFloat().Draw(t, "cold"),
			HotCode: rapid.Int32().Draw(t, "hot code"), ColdCode: rapid.Int32Range(-3, 3).Draw(t, "cold code"),
			Fault: rapid.Uint16().Draw(t, "fault"),
		}
		if shift := rapid.IntRange(-1, 14).Draw(t, "shift"); shift >= 0 {
			s.HotC, s.ColdC = scaled(s.HotCode, shift), scaled(s.ColdCode, shift)
		}
		return s
	})
}

func anyReading() *rapid.Generator[Reading] {
	return rapid.Custom(func(t *rapid.T) Reading {
		r := Reading{
			Seq: rapid.Uint64().Draw(t, "seq"), Since: time.Duration(rapid.Int64().Draw(t, "since")),
			Wall:      anyTime().Draw(t, "wall"),
			SetpointC: anyFloat().Draw(t, "setpoint"), Duty: anyFloat().Draw(t, "duty"),
			Relay: rapid.Bool().Draw(t, "relay"), Air: rapid.Bool().Draw(t, "air"),
			EnergyJ: anyFloat().Draw(t, "energy"),
			Step:    rapid.Uint16().Draw(t, "step"), Phase: Phase(rapid.Uint8().Draw(t, "phase")),
			Door: rapid.Uint8Range(0, 3).Draw(t, "door"),
		}
		if rapid.Bool().Draw(t, "channels") {
			r.Channels = append([]Sample{}, rapid.SliceOfN(anySample(), 0, 3).Draw(t, "samples")...)
		}
		if rapid.Bool().Draw(t, "observer") {
			r.Observer = append([]float64{}, rapid.SliceOfN(anyFloat(), 0, 3).Draw(t, "state")...)
		}
		return r
	})
}

func TestBlockKeepsEveryBit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := rapid.SliceOfN(anyReading(), 1, 12).Draw(t, "readings")
		if rapid.Bool().Draw(t, "repeat") { // so that every guess is right at least once
			want = append(want, want...)
		}
		block := EncodeBlock(want)
		got, err := DecodeBlock(block)
		require.NoError(t, err)
		require.Equal(t, plain(want...), plain(got...))
		start, err := BlockStart(block)
		require.NoError(t, err)
		require.Equal(t, want[0].Since, start)
	})
}

// firing is a night at 1 Hz as a type K amplifier of 0.25 °C steps sees it:
// 75 °C/h to 730 °C, two readings of noise, jitter of the ticker, a relay
// that modulates, a cold junction that drifts.
func firing(n int) []Reading {
	rng := rand.New(rand.NewPCG(1, 2))
	rs := make([]Reading, n)
	start := time.Date(2000, 1, 1, 20, 0, 0, 0, time.UTC)
	energyJ, since := 0.0, time.Duration(0)
	for i := range rs {
		step := time.Second + time.Duration(rng.NormFloat64()*float64(50*time.Microsecond))
		since += step
		setpoint := math.Min(730, 20+75*since.Hours())
		duty := math.Min(1, math.Max(0, 0.4+0.05*rng.NormFloat64()))
		relay := rng.Float64() < duty
		if i > 0 && rs[i-1].Relay {
			energyJ += 2400 * step.Seconds()
		}
		hot := int32(math.Round((setpoint + 0.3*rng.NormFloat64()) * 4))
		cold := int32(math.Round((24 + 3*math.Sin(float64(i)/5000) + 0.03*rng.NormFloat64()) * 16))
		rs[i] = Reading{
			Seq: uint64(i), Since: since, Wall: start.Add(since).Truncate(time.Millisecond),
			Channels: []Sample{{
				HotC: float64(hot)/4 + 0.1*math.Sin(float64(hot)/100) + float64(cold)*1e-5, HotCode: hot,
				ColdC: float64(cold) / 16, ColdCode: cold,
			}},
			SetpointC: setpoint, Duty: duty, Relay: relay, EnergyJ: energyJ, Step: uint16(i / 8000), Phase: Ramping,
		}
	}
	return rs
}

// The promise of the package: under 30 bytes a reading for a noisy firing.
func TestBlockIsSmall(t *testing.T) {
	rs := firing(7200)
	var bytes int
	for i := 0; i < len(rs); i += 120 {
		block := EncodeBlock(rs[i : i+120])
		bytes += len(block)
		got, err := DecodeBlock(block)
		require.NoError(t, err)
		require.Equal(t, plain(rs[i:i+120]...), plain(got...))
	}
	per := float64(bytes) / float64(len(rs))
	t.Logf("%.1f bytes a reading in blocks of 120", per)
	assert.Less(t, per, 30.0)
}

func TestBuilderMatchesEncodeBlock(t *testing.T) {
	rs := firing(50)
	for i := range rs {
		rs[i].Observer = []float64{float64(i) * 1.1, 20}
	}
	var b Builder
	scratch := []float64{0, 0}
	for i, r := range rs {
		copy(scratch, r.Observer)
		r.Observer = scratch // the builder must not rely on what it was given
		require.True(t, b.Add(&r))
		require.Equal(t, EncodeBlock(rs[:i+1]), b.Bytes())
		require.Equal(t, len(b.Bytes()), b.Size())
	}
	assert.Equal(t, uint64(0), b.First())
	assert.Equal(t, uint64(49), b.Last())
	b.Reset()
	assert.Zero(t, b.Size())
	assert.Nil(t, b.Bytes())
}

func TestBuilderRefusesMoreThanItCanRead(t *testing.T) {
	var b Builder
	assert.False(t, b.Add(&Reading{Channels: make([]Sample, MaxChannels+1)}))
	require.True(t, b.Add(&Reading{Channels: make([]Sample, MaxChannels)}))
	_, err := DecodeBlock(b.Bytes())
	require.NoError(t, err)
}

// A CRC of 32 bits finds every single flipped bit.
func TestDecodeBlockFindsEveryFlippedBit(t *testing.T) {
	block := EncodeBlock(firing(20))
	for bit := range len(block) * 8 {
		b := append([]byte(nil), block...)
		b[bit/8] ^= 1 << (bit % 8)
		rs, err := DecodeBlock(b)
		require.ErrorIs(t, err, ErrDamaged, "bit %d", bit)
		require.Nil(t, rs)
	}
	for n := range block {
		_, err := DecodeBlock(block[:n])
		require.ErrorIs(t, err, ErrDamaged, "%d bytes", n)
	}
}

func TestNewerVersionsAreRefused(t *testing.T) {
	newer := seal([]byte{blockVersion + 1, 1, 0, 0, 0})
	_, err := DecodeBlock(newer)
	assert.ErrorIs(t, err, ErrVersion)
	_, err = DecodeFiring(newer)
	assert.ErrorIs(t, err, ErrVersion)
	_, err = DecodeEvent(newer)
	assert.ErrorIs(t, err, ErrVersion)
}

// RFC 3720 appendix B.4: the CRC-32C of 32 zero bytes is aa 36 91 8a, sent
// least significant byte first.
func TestChecksumIsCRC32C(t *testing.T) {
	assert.Equal(t, []byte{0xaa, 0x36, 0x91, 0x8a}, seal(make([]byte, 32))[32:])
	assert.Equal(t, uint32(0xe3069283), crc32.Checksum([]byte("123456789"), castagnoli)) // usual check value, from memory
}

func TestFiringKeepsEveryField(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		str := rapid.OneOf(rapid.String(), rapid.Just("\xff\x00")).Draw
		want := Firing{
			ID: rapid.Uint64().Draw(t, "id"), Name: str(t, "name"), Started: anyTime().Draw(t, "started"),
			Ended: anyTime().Draw(t, "ended"), Boot: str(t, "boot"), Outcome: str(t, "outcome"),
			Reason: str(t, "reason"), Profile: str(t, "profile"), Kiln: str(t, "kiln"), Config: str(t, "config"),
			PeriodMS: rapid.Uint32().Draw(t, "period"), Units: str(t, "units"), Version: str(t, "version"),
			Readings: rapid.Uint64().Draw(t, "readings"), Beliefs: str(t, "beliefs"), AfterCut: str(t, "after"),
		}
		for range rapid.IntRange(0, 3).Draw(t, "runs") {
			want.Runs = append(want.Runs, Run{str(t, "boot"), time.Duration(rapid.Int64().Draw(t, "since")), time.Duration(rapid.Int64().Draw(t, "uptime"))})
		}
		for range rapid.IntRange(-1, 3).Draw(t, "channels") {
			want.Channels = append(want.Channels, Channel{str(t, "role"), str(t, "chip"), str(t, "type"), str(t, "port")})
		}
		if rapid.Bool().Draw(t, "empty") {
			want.Channels = []Channel{}
		}
		for range rapid.IntRange(0, 3).Draw(t, "moulds") {
			want.Moulds = append(want.Moulds, str(t, "mould"))
		}
		got, err := DecodeFiring(EncodeFiring(&want))
		require.NoError(t, err)
		require.Equal(t, want, got)
	})
}

func TestEventKeepsEveryField(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := Event{
			Seq: rapid.Uint64().Draw(t, "seq"), Since: time.Duration(rapid.Int64().Draw(t, "since")),
			Wall: anyTime().Draw(t, "wall"), Code: rapid.String().Draw(t, "code"),
			Severity: Severity(rapid.Uint8().Draw(t, "severity")), Step: rapid.Uint16().Draw(t, "step"),
			Text: rapid.String().Draw(t, "text"), Hint: rapid.String().Draw(t, "hint"),
		}
		got, err := DecodeEvent(EncodeEvent(&want))
		require.NoError(t, err)
		require.Equal(t, want, got)
	})
}

// A field of a later calx is passed over.
func TestUnknownFieldsAreIgnored(t *testing.T) {
	b := EncodeFiring(&Firing{ID: 7, Name: "pods"})
	f := fields(b[:len(b)-crcSize])
	f.raw(200, []byte("from the future"))
	f.text(tagUnits, "F")
	got, err := DecodeFiring(seal(f))
	require.NoError(t, err)
	assert.Equal(t, Firing{ID: 7, Name: "pods", Units: "F"}, got)
}

func FuzzDecodeBlock(f *testing.F) {
	f.Add(EncodeBlock(firing(3)), false)
	f.Add(EncodeBlock([]Reading{{Observer: []float64{1, math.NaN()}, Channels: []Sample{{}, {Fault: 1}}}}), true)
	f.Add(EncodeBlock([]Reading{{Door: 1}, {Seq: 1, Door: 2}, {Seq: 2, Door: 2}, {Seq: 3, Relay: true}}), true)
	f.Add(doorlessBlock(f), false)
	f.Add([]byte{1, 1, 0, 0, 0, 0xff, 0xff, 0xff, 0xff, 0xff}, true)
	f.Fuzz(func(t *testing.T, b []byte, mend bool) {
		if mend { // get past the checksum, as a hostile author would
			b = seal(b)
		}
		rs, err := DecodeBlock(b)
		if err != nil {
			if rs != nil {
				t.Fatalf("got readings beside %v", err)
			}
			return
		}
		again, err := DecodeBlock(EncodeBlock(rs))
		require.NoError(t, err)
		require.Equal(t, plain(rs...), plain(again...))
	})
}

func FuzzDecodeFields(f *testing.F) {
	f.Add(EncodeFiring(&Firing{ID: 1, Channels: []Channel{{Role: "chamber"}}}))
	f.Add(EncodeEvent(&Event{Seq: 1, Text: "x"}))
	f.Fuzz(func(t *testing.T, b []byte) {
		b = seal(b)
		if fi, err := DecodeFiring(b); err == nil {
			again, err := DecodeFiring(EncodeFiring(&fi))
			require.NoError(t, err)
			require.Equal(t, fi, again)
		}
		if e, err := DecodeEvent(b); err == nil {
			again, err := DecodeEvent(EncodeEvent(&e))
			require.NoError(t, err)
			require.Equal(t, e, again)
		}
	})
}

func BenchmarkEncodeFiring(b *testing.B) {
	rs := firing(72000)
	b.ReportAllocs()
	for b.Loop() {
		var bytes int
		for i := 0; i < len(rs); i += 120 {
			bytes += len(EncodeBlock(rs[i : i+120]))
		}
		b.ReportMetric(float64(bytes)/float64(len(rs)), "B/reading")
	}
}

func BenchmarkDecodeFiring(b *testing.B) {
	rs := firing(72000)
	var blocks [][]byte
	for i := 0; i < len(rs); i += 120 {
		blocks = append(blocks, EncodeBlock(rs[i:i+120]))
	}
	b.ReportAllocs()
	for b.Loop() {
		for _, block := range blocks {
			if _, err := DecodeBlock(block); err != nil {
				b.Fatal(err)
			}
		}
	}
}
