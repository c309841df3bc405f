package storage

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	bolt "go.etcd.io/bbolt"
	"pgregory.net/rapid"

	"calx/storage/record"
)

func aMessage(subject string) record.Message {
	return record.Message{At: start, Kind: "stage", Firing: 1, Event: 3, Subject: subject, Body: "chamber 20 °C"}
}

// Against a model that is obviously right: what Post, Told and Acknowledge
// acknowledged is in a copy of the file taken without closing it.
func TestOutboxKeepsWhatItAcknowledged(t *testing.T) {
	dir := memoryDir(t)
	path, copied := filepath.Join(dir, "calx.db"), filepath.Join(dir, "copy.db")
	rapid.Check(t, func(rt *rapid.T) {
		_ = os.Remove(path)
		l, err := Open(path, &manual)
		require.NoError(t, err)
		defer l.Close()
		var model []record.Message
		for range rapid.IntRange(1, 15).Draw(rt, "orders") {
			i := rapid.IntRange(0, max(0, len(model)-1)).Draw(rt, "which")
			switch op := rapid.IntRange(0, 2).Draw(rt, "order"); {
			case op == 0 || len(model) == 0:
				m, err := l.Post(aMessage(rapid.String().Draw(rt, "subject")))
				require.NoError(t, err)
				require.Equal(t, uint64(len(model)+1), m.ID)
				model = append(model, m)
			case op == 1:
				s := record.Sent{To: rapid.SampledFrom([]string{"phone", "mail"}).Draw(rt, "to"), Times: 1 + model[i].To("phone").Times, Last: start}
				require.NoError(t, l.Told(model[i].ID, s))
				was := model[i].Sent
				model[i].Sent = nil
				for _, o := range was {
					if o.To == s.To {
						o, s.To = s, ""
					}
					model[i].Sent = append(model[i].Sent, o)
				}
				if s.To != "" {
					model[i].Sent = append(model[i].Sent, s)
				}
			default:
				at := start.Add(time.Duration(len(model)) * time.Hour)
				require.NoError(t, l.Acknowledge([]uint64{model[i].ID}, at))
				if model[i].Acked.IsZero() {
					model[i].Acked = at
				}
			}
		}
		b, err := os.ReadFile(path)
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(copied, b, 0o600))
		c, err := Open(copied, &Opts{ReadOnly: true})
		require.NoError(t, err)
		defer c.Close()
		got, err := c.Messages()
		require.NoError(t, err)
		require.Equal(t, model, got)
	})
}

// The outbox is bounded: the oldest that reached somebody goes, and what
// reached nobody stays as long as it can.
func TestOutboxIsBounded(t *testing.T) {
	l := openManual(t, filepath.Join(memoryDir(t), "calx.db"))
	for i := range MostMessages {
		_, err := l.Post(aMessage(fmt.Sprint(i)))
		require.NoError(t, err)
	}
	require.NoError(t, l.Told(7, record.Sent{To: "phone", Times: 1, Last: start}))
	for range 2 {
		_, err := l.Post(aMessage("new"))
		require.NoError(t, err)
	}
	ms, err := l.Messages()
	require.NoError(t, err)
	require.Len(t, ms, MostMessages)
	assert.Equal(t, uint64(2), ms[0].ID, "one that reached nobody went only when no other was left")
	for _, m := range ms {
		assert.NotEqual(t, uint64(7), m.ID)
	}
	assert.Equal(t, uint64(MostMessages+2), ms[len(ms)-1].ID, "numbers are not given twice")
	assert.ErrorIs(t, l.Told(7, record.Sent{}), ErrNoMessage)
}

func TestOutboxOnAFailingDisk(t *testing.T) {
	var disk faulty
	o := manual
	o.testOnlyBefore = disk.hook
	l := open(t, newPath(t), o)
	disk.set(errors.New("no space left on device"))
	m, err := l.Post(aMessage("trip"))
	require.ErrorIs(t, err, ErrNotDurable)
	assert.Zero(t, m.ID)
	disk.set(nil)
	m, err = l.Post(aMessage("trip"))
	require.NoError(t, err)
	assert.Equal(t, uint64(1), m.ID)
}

func TestLogWithoutAnOutbox(t *testing.T) {
	l := openManual(t, newPath(t))
	ms, err := l.Messages()
	require.NoError(t, err)
	assert.Empty(t, ms)
	ro := Opts{ReadOnly: true}
	require.NoError(t, l.Close())
	r := open(t, l.path, ro)
	_, err = r.Post(aMessage("x"))
	assert.ErrorIs(t, err, ErrReadOnly)
}

// Whatever stands in the bucket: nothing panics, what cannot be read is named,
// and the next message is taken or refused with an error.
func FuzzOutbox(f *testing.F) {
	good := aMessage("trip")
	good.ID = 1
	good.Sent = []record.Sent{{To: "phone", Times: 2, Last: start}}
	b := record.EncodeMessage(&good)
	f.Add(key(1), b)
	f.Add(key(1), b[:len(b)-1])
	f.Add([]byte("outbox"), b)
	f.Add(key(1<<64-1), b)
	f.Add(key(1, 2), sealed([]byte{1, 10 << 3, 0xff, 0xff, 0xff}))
	path := filepath.Join(memoryDir(f), "calx.db")
	f.Fuzz(func(t *testing.T, k, v []byte) {
		if len(k) == 0 || len(k) > bolt.MaxKeySize {
			t.Skip()
		}
		_ = os.Remove(path)
		l, err := Open(path, &manual)
		require.NoError(t, err)
		defer l.Close()
		require.NoError(t, l.outbox(func(b *bolt.Bucket) error { return b.Put(k, v) }))
		ms, err := l.Messages()
		require.Equal(t, err != nil, len(ms) == 0, "it is read, or named")
		if m, err := l.Post(aMessage("next")); err == nil {
			require.NotZero(t, m.ID)
			require.NoError(t, l.Told(m.ID, record.Sent{To: "x", Times: 1, Last: start}))
		}
		_ = l.Acknowledge([]uint64{number(k)}, start)
	})
}
