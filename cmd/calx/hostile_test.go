package main

import (
	"bytes"
	"context"
	"hash/crc32"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/alecthomas/kong"
	bolt "go.etcd.io/bbolt"
)

// call runs a command in this process.
func call(args ...string) (out string, err error) {
	var c cli
	var b bytes.Buffer
	e := &env{ctx: context.Background(), out: &b, err: &b, width: 80, height: 24}
	parser, err := kong.New(&c, kong.Writers(&b, &b), kong.Vars{"version": version})
	if err != nil {
		return "", err
	}
	k, err := parser.Parse(args)
	if err != nil {
		return "", err
	}
	err = k.Run(e)
	return b.String(), err
}

// aLog is a log as a short firing leaves it. There is no mould in it: what would
// be expected of one is worked out anew by every command, and takes a second.
func aLog(tb testing.TB) []byte {
	dir := tb.TempDir()
	prof := filepath.Join(dir, "short.txt")
	if err := os.WriteFile(prof, []byte("never above 400 C\nheat to 30 C at 400 C/h\nair on\nhold until stopped, at most 1 min\n"), 0o600); err != nil {
		tb.Fatal(err)
	}
	if _, err := call("demo", "--headless", "--speed", "max", "--profile", prof, "--mould", "none", "--data", dir); err != nil {
		tb.Fatal(err)
	}
	file := filepath.Join(dir, logName)
	b, err := os.ReadFile(file)
	if err != nil {
		tb.Fatal(err)
	}
	return b
}

// The harms, as a hostile author or a database mended by hand may do them.
const (
	harmBytes  = iota // bytes of a value change
	harmForged        // likewise, with a checksum that fits
	harmLength        // the value is cut or grows
	harmSwap          // it takes the value of the entry after it
	harmKinds
)

// spoil does one harm to the entry counted by at, over all buckets.
func spoil(tb testing.TB, file string, at uint16, harm uint8, data []byte) {
	db, err := bolt.Open(file, 0o600, &bolt.Options{NoSync: true})
	if err != nil {
		tb.Fatal(err)
	}
	defer db.Close()
	err = db.Update(func(tx *bolt.Tx) error {
		var all [][3][]byte // bucket, key, value
		if err := tx.ForEach(func(name []byte, b *bolt.Bucket) error {
			return b.ForEach(func(k, v []byte) error {
				all = append(all, [3][]byte{bytes.Clone(name), bytes.Clone(k), bytes.Clone(v)})
				return nil
			})
		}); err != nil {
			return err
		}
		e := all[int(at)%len(all)]
		v := bytes.Clone(e[2])
		switch harm % harmKinds {
		case harmBytes, harmForged:
			for i, x := range data {
				if len(v) > 0 {
					v[(int(at)/7+i*41)%len(v)] ^= x
				}
			}
			if harm%harmKinds == harmForged && len(v) > 4 {
				sum := crc32.Checksum(v[:len(v)-4], crc32.MakeTable(crc32.Castagnoli))
				v = append(v[:len(v)-4], byte(sum), byte(sum>>8), byte(sum>>16), byte(sum>>24))
			}
		case harmLength:
			v = append(v[:len(v)-min(len(data), len(v))], data[len(data)/2:]...)
		case harmSwap:
			v = all[(int(at)+1)%len(all)][2]
		}
		return tx.Bucket(e[0]).Put(e[1], v)
	})
	if err != nil {
		tb.Fatal(err)
	}
}

// looks are the commands that read a log.
var looks = [][]string{
	{"firings", "--json"}, {"show", "1", "--json"}, {"show", "1"}, {"export", "1"}, {"export", "1", "--format", "openmetrics"},
	{"piece", "list"}, {"cast", "list"}, {"replay", "1"},
}

// Whatever the bytes of a log are changed to, every command that reads it
// answers: with what was recorded, or with an error in words. Where a checksum
// was forged as well it may be other data, and never a panic.
func FuzzHostileLog(f *testing.F) {
	good := aLog(f)
	file := filepath.Join(f.TempDir(), logName)
	if err := os.WriteFile(file, good, 0o600); err != nil {
		f.Fatal(err)
	}
	want := make([]string, len(looks))
	for i, args := range looks {
		var err error
		if want[i], err = call(append(args, "--data", file)...); err != nil {
			f.Fatalf("%v: %v", args, err)
		}
	}
	for i := range uint8(len(looks)) {
		for harm := range uint8(harmKinds) {
			f.Add(uint16(i)*3+uint16(harm), harm, i, []byte{1, 0x80, 0xff})
		}
	}
	f.Fuzz(func(t *testing.T, at uint16, harm, look uint8, data []byte) {
		if err := os.WriteFile(file, good, 0o600); err != nil {
			t.Fatal(err)
		}
		spoil(t, file, at, harm, data)
		i := int(look) % len(looks)
		out, err := call(append(looks[i], "--data", file)...)
		switch {
		case err != nil && strings.TrimSpace(err.Error()) == "":
			t.Fatalf("%v: an error without a word", looks[i])
		case err == nil && harm%harmKinds != harmForged && out != want[i]:
			t.Fatalf("%v: other data and no error\n%s\nwant\n%s", looks[i], out, want[i])
		}
	})
}
