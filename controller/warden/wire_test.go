package warden_test

import (
	"bytes"
	"encoding/hex"
	"errors"
	"hash/crc32"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"calx/controller/warden"
)

// The checksum is the one of RFC 3720, appendix B.4 (its example bytes are in
// little-endian order there; as numbers they read as below).
func TestChecksumIsRFC3720(t *testing.T) {
	table := crc32.MakeTable(crc32.Castagnoli)
	ones, rising := make([]byte, 32), make([]byte, 32)
	for i := range ones {
		ones[i], rising[i] = 0xff, byte(i)
	}
	assert.Equal(t, uint32(0x8a9136aa), crc32.Checksum(make([]byte, 32), table))
	assert.Equal(t, uint32(0x62a8ab43), crc32.Checksum(ones, table))
	assert.Equal(t, uint32(0x46dd794e), crc32.Checksum(rising, table))
}

func draw(t *rapid.T) warden.Message {
	m := warden.Message{
		Kind:   rapid.SampledFrom([]warden.Kind{warden.Lease, warden.Withdraw}).Draw(t, "kind"),
		Seq:    rapid.Uint64().Draw(t, "seq"),
		Issued: time.Duration(rapid.Int64Range(0, math.MaxInt64).Draw(t, "issued")),
	}
	if m.Kind == warden.Lease {
		m.Heat, m.Air, m.Main = rapid.Bool().Draw(t, "heat"), rapid.Bool().Draw(t, "air"), rapid.Bool().Draw(t, "main")
	}
	return m
}

func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := draw(t)
		b := warden.Encode(m)
		got, err := warden.Decode(b[:])
		require.NoError(t, err)
		require.Equal(t, m, got)
	})
}

// The bytes of version 2, so that a change of layout needs a new version.
func TestBytesOfVersion2(t *testing.T) {
	b := warden.Encode(warden.Message{Kind: warden.Lease, Seq: 7, Issued: 3 * time.Second, Heat: true, Main: true})
	assert.Equal(t, "ca1e0209"+"0000000000000007"+"00000000b2d05e00", hex.EncodeToString(b[:20]))
}

// Every change of one, two or three bits is noticed, all 1.2 million of them.
func TestFlippedBitsAreNoticed(t *testing.T) {
	good := warden.Encode(warden.Message{Kind: warden.Lease, Seq: 12345, Issued: time.Hour, Heat: true})
	flip := func(b *[warden.Size]byte, i int) { b[i/8] ^= 1 << (i % 8) }
	step := 1
	if testing.Short() {
		step = 5
	}
	for i := 0; i < 8*warden.Size; i++ {
		one := good
		flip(&one, i)
		for j := i; j < 8*warden.Size; j += step {
			two := one
			if j > i {
				flip(&two, j)
			}
			for k := j; k < 8*warden.Size; k += step {
				three := two
				if k > j {
					flip(&three, k)
				}
				if plausible(three) {
					t.Fatalf("bits %d %d %d flipped and still read", i, j, k)
				}
			}
		}
	}
}

// plausible is Decode without the price of building its error text.
func plausible(b [warden.Size]byte) bool {
	if b[0] != 0xca || b[1] != 0x1e || b[2] != 2 {
		return false
	}
	_, err := warden.Decode(b[:])
	return err == nil
}

func TestUnreadable(t *testing.T) {
	seal := func(change func(*[warden.Size]byte)) []byte {
		b := warden.Encode(warden.Message{Kind: warden.Lease, Seq: 1, Heat: true})
		change(&b)
		sum := crc32.Checksum(b[:20], crc32.MakeTable(crc32.Castagnoli))
		b[20], b[21], b[22], b[23] = byte(sum>>24), byte(sum>>16), byte(sum>>8), byte(sum)
		return b[:]
	}
	for _, c := range []struct {
		name string
		in   []byte
		says string
	}{
		{"nothing", nil, "0 bytes, want 24"},
		{"zeros", make([]byte, warden.Size), "starts with 0x0000"},
		{"next version", seal(func(b *[warden.Size]byte) { b[2] = 3 }), "version 3"},
		{"unknown flag", seal(func(b *[warden.Size]byte) { b[3] |= 0x80 }), "flags 0x81"},
		{"withdraw with heat", seal(func(b *[warden.Size]byte) { b[3] = 5 }), "flags 0x05"},
		{"version before the main contactor", seal(func(b *[warden.Size]byte) { b[2] = 1 }), "version 1"},
		{"withdraw with main", seal(func(b *[warden.Size]byte) { b[3] = 12 }), "flags 0x0c"},
		{"time above 63 bits", seal(func(b *[warden.Size]byte) { b[12] = 0x80 }), "issued at"},
	} {
		t.Run(c.name, func(t *testing.T) {
			m, err := warden.Decode(c.in)
			require.ErrorIs(t, err, warden.ErrUnreadable)
			assert.ErrorContains(t, err, c.says)
			assert.Equal(t, warden.Message{Kind: warden.Garbled}, m)
		})
	}
}

func TestOnlyLeasesTravel(t *testing.T) {
	assert.Panics(t, func() { warden.Encode(warden.Message{}) })
	assert.Panics(t, func() { warden.Encode(warden.Message{Kind: warden.Lease, Issued: -1}) })
}

func FuzzDecode(f *testing.F) {
	good := warden.Encode(warden.Message{Kind: warden.Lease, Seq: 1, Issued: 1, Heat: true})
	f.Add(good[:])
	bye := warden.Encode(warden.Message{Kind: warden.Withdraw, Seq: 2, Issued: 2})
	f.Add(bye[:])
	f.Add([]byte("heat please"))
	f.Fuzz(func(t *testing.T, in []byte) {
		// Plain comparisons: the fuzzer also counts branches inside assertion
		// libraries, and then spends its time on those.
		m, err := warden.Decode(in)
		if err != nil {
			if !errors.Is(err, warden.ErrUnreadable) || m != (warden.Message{Kind: warden.Garbled}) {
				t.Fatalf("got %+v, %v; want garbled and ErrUnreadable", m, err)
			}
			return
		}
		if again := warden.Encode(m); !bytes.Equal(in, again[:]) {
			t.Fatalf("%x reads as %+v and is written as %x", in, m, again)
		}
	})
}
