package record

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func drawMessage(t *rapid.T) Message {
	at := func(name string) time.Time {
		return time.Unix(rapid.Int64Range(1, 1e11).Draw(t, name), rapid.Int64Range(0, 999_999_999).Draw(t, name)).UTC()
	}
	text := rapid.String()
	m := Message{ID: rapid.Uint64().Draw(t, "id"), At: at("at"), Kind: text.Draw(t, "kind"), Severity: Severity(rapid.Byte().Draw(t, "severity")),
		Firing: rapid.Uint64().Draw(t, "firing"), Event: rapid.Uint64().Draw(t, "event"), Subject: text.Draw(t, "subject"), Body: text.Draw(t, "body")}
	if rapid.Bool().Draw(t, "acked") {
		m.Acked = at("acked at")
	}
	for range rapid.IntRange(0, 3).Draw(t, "destinations") {
		m.Sent = append(m.Sent, Sent{text.Draw(t, "to"), rapid.Uint32().Draw(t, "times"), at("last")})
	}
	return m
}

func TestMessagesRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawMessage(t)
		got, err := DecodeMessage(EncodeMessage(&m))
		require.NoError(t, err)
		require.Equal(t, m, got)
	})
}

func TestMessageOfANewerCalx(t *testing.T) {
	m := Message{ID: 1, Subject: "trip"}
	b := EncodeMessage(&m)
	more := fields(append([]byte(nil), b[:len(b)-crcSize]...))
	more.text(99, "what a later calx keeps")
	got, err := DecodeMessage(seal(more))
	require.NoError(t, err)
	require.Equal(t, m, got)
	more[0] = messageVersion + 1
	_, err = DecodeMessage(seal(more))
	require.ErrorIs(t, err, ErrVersion)
}

func FuzzDecodeMessage(f *testing.F) {
	m := Message{ID: 3, At: time.Unix(1, 2).UTC(), Kind: "trip", Severity: Alarm, Subject: "s", Body: "b", Sent: []Sent{{To: "phone", Times: 1, Last: time.Unix(5, 0).UTC()}}}
	f.Add(EncodeMessage(&m)[:])
	f.Add(seal([]byte{1, 10<<1 | 1, 1, 0xff}))
	f.Fuzz(func(t *testing.T, b []byte) {
		for _, in := range [][]byte{b, seal(append([]byte(nil), b...))} {
			m, err := DecodeMessage(in)
			if err != nil {
				require.Equal(t, Message{}, m)
				continue
			}
			again, err := DecodeMessage(EncodeMessage(&m))
			require.NoError(t, err)
			require.Equal(t, m, again)
		}
	})
}
