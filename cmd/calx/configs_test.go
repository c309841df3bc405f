package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"strconv"
	"strings"
	"testing"
	"time"

	"calx/cmd/calx/board"
	"calx/cmd/calx/config"
	"calx/cmd/calx/station"
	"calx/sim/quantity"
	"calx/storage"
)

// scribe writes configurations as somebody in a hurry might: mostly right, some
// values of the wrong kind, and now and then a slip of the pen. Fields and their
// kinds are those of config.Config, so what is added there is tried as well.
type scribe struct {
	rng   *rand.Rand
	wrong float64 // chance that a value is not what belongs there
}

// right are values that may stand in a field; for fields not named here the
// kind decides.
var right = map[string][]string{
	"data": {"log", "a/b", "."}, "listen": {"127.0.0.1:8418", "localhost:0", "0.0.0.0:80"}, "units": {"C", "F"},
	"kiln": {"jewellery-3l-fibre", "bench-9l-brick"}, "period": {"1 s", "250 ms", "0.5 s"}, "resume_within": {"10 min", "2 h", "0 s"},
	"after_power_cut": {"go-on-if-short"}, "role": {"chamber", "witness 1"}, "chip": {"max31855", "max31856", "max6675"},
	"port": {"SPI0.0", "SPI0.1", "SPI1.0"}, "type": {"K", "N", "S"}, "mains": {"50 Hz", "60 Hz"}, "averaging": {"1", "4", "16"},
	"pin": {"GPIO17", "gpiochip0:4"}, "main": {"GPIO5"}, "air": {"GPIO27"}, "active": {"high", "low"}, "relay": {"ssr", "contactor"},
	"least_on": {"1 s", "10 s"}, "least_off": {"1 s", "10 s"}, "heartbeat": {"GPIO22"}, "watchdog": {"/dev/watchdog"},
	"open": {"high", "low"}, "kinds": {"trip", "stage"}, "name": {"phone", "wall"}, "url": {`"generic://127.0.0.1:9/x"`}, "url_file": {"secret.txt"}, "from": {"alarm"}, "quiet": {`"22:00 to 07:00"`},
	"repeat": {"10 min"}, "most": {"6"}, "passes": {"alarm"},
}

// odd are values that as a rule belong nowhere.
var odd = []string{
	`""`, "null", "~", "0", "-1", "1e309", "NaN s", "-5 s", "5 parsecs", "5", "99999999999999999999 h", "[]", "{}", "[a, b]", "{a: b}", "true",
	`"\u0000"`, `"Ω°"`, "*x", "&x y", "!!binary aGk=", "|\n  x", "x: y: z", "'", "\t", "K2", "GPIO17", "SPI0.0", "chamber", "-300 C", "/proc/none", "../../../../proc/none",
}

// value writes what stands in a field, in flow style.
func (s scribe) value(name string, t reflect.Type) string {
	if s.rng.Float64() < s.wrong {
		return odd[s.rng.IntN(len(odd))]
	}
	if _, text := reflect.New(t).Interface().(interface{ UnmarshalText([]byte) error }); !text {
		switch t.Kind() {
		case reflect.Struct:
			return s.mapping(t)
		case reflect.Slice:
			n := s.rng.IntN(3)
			if name == "channels" {
				n = 1
			}
			list := make([]string, n)
			for i := range list {
				list[i] = s.value(name, t.Elem())
			}
			return "[" + strings.Join(list, ", ") + "]"
		}
	}
	if list := right[name]; len(list) > 0 {
		if name == "role" || s.rng.IntN(3) > 0 {
			return list[0]
		}
		return list[s.rng.IntN(len(list))]
	}
	switch t.Kind() {
	case reflect.Int:
		return strconv.Itoa(s.rng.IntN(20))
	case reflect.Bool:
		return "true"
	}
	return "1 s"
}

func (s scribe) mapping(t reflect.Type) string {
	var fields []string
	for i := range t.NumField() {
		name, options, _ := strings.Cut(t.Field(i).Tag.Get("yaml"), ",")
		optional := strings.Contains(options, "omitempty")
		if name == "" || optional && s.rng.IntN(3) > 0 || s.rng.Float64() < s.wrong/4 {
			continue
		}
		fields = append(fields, name+": "+s.value(name, t.Field(i).Type))
		if s.rng.Float64() < s.wrong/4 {
			fields = append(fields, name+"s: 1", name+": 2")
		}
	}
	return "{" + strings.Join(fields, ", ") + "}"
}

// file is a whole configuration.
func (s scribe) file() []byte {
	text := s.mapping(reflect.TypeFor[config.Config]())
	if s.rng.IntN(4) > 0 { // one line a field, as people write
		text = strings.Trim(text, "{}")
		if strings.Count(text, "{") > strings.Count(text, "}") {
			text += "}"
		}
		depth, lines := 0, []rune{}
		for _, r := range text {
			switch r {
			case '{', '[':
				depth++
			case '}', ']':
				depth--
			}
			if r == ',' && depth == 0 {
				r = '\n'
			}
			if r != ' ' || len(lines) == 0 || lines[len(lines)-1] != '\n' {
				lines = append(lines, r)
			}
		}
		text = string(lines)
	}
	b := []byte(text + "\n")
	if s.rng.Float64() < s.wrong { // a slip
		at := s.rng.IntN(len(b))
		b[at] = " \t:#{}[]\"'-,\x00\xff"[s.rng.IntN(14)]
	}
	return b
}

// fate is what became of a configuration.
type fate string

const (
	refused  fate = "refused with a place"
	noWiring fate = "refused for its wiring"
	unfit    fate = "refused when it was opened"
	fires    fate = "fires"
)

// try takes a configuration as far as it goes: read, wired, opened on the
// bench, and a firing begun.
func try(t *testing.T, dir string, data []byte) (fate, error) {
	file := filepath.Join(dir, "calx.yaml")
	c, err := config.Parse(file, data)
	if err != nil {
		var told quantity.Errors
		if c != nil || !errors.As(err, &told) || told[0].File != file || told[0].Line < 1 || strings.TrimSpace(told[0].Text) == "" {
			t.Fatalf("no place, or something beside it: %+v, %v", c, err)
		}
		return refused, err
	}
	if err := board.Wiring(c.Heater).Check(); err != nil {
		return noWiring, err
	}
	if err := os.WriteFile(filepath.Join(dir, "secret.txt"), []byte("generic://127.0.0.1:9/x\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	const asFastAsPossible = 1e6
	d, err := openDaemon(c, asFastAsPossible, log.New(io.Discard, "", 0))
	if err != nil {
		return unfit, err
	}
	begin(t, d)
	return fires, nil
}

// begin starts a firing and lets the kiln rise a little.
func begin(t *testing.T, d *daemon) {
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- d.station.Run(ctx) }()
	defer func() {
		cancel()
		<-ended
		if err := d.close(); err != nil && !errors.Is(err, storage.ErrNotDurable) {
			t.Error(err)
		}
	}()
	id, err := d.station.Start(station.Request{Name: "short", Profile: "heat to 60 C at 600 C/h\nhold 2 h"})
	if err != nil {
		t.Fatal(err)
	}
	warm := time.After(20 * time.Second)
	changed, stop := d.station.Watch()
	defer stop()
	for {
		st := d.station.Status()
		if f := st.Firing; f != nil && f.ID == id && st.ChamberC != nil && *st.ChamberC > 22 {
			return
		}
		if st.Firing == nil && st.Last != nil {
			t.Fatalf("the firing ended: %s, %s", st.Last.Outcome, st.Last.Reason)
		}
		select {
		case <-changed:
		case <-warm:
			t.Fatalf("nothing got warm: %+v", st)
		}
	}
}

// Configurations as people might write them, right and wrong: each is refused in
// words, with its place where the file is at fault, or fires. All thousand with
// CALX_CONFIGS=1000.
func TestRandomConfigurations(t *testing.T) {
	n := 30
	if s := os.Getenv("CALX_CONFIGS"); s != "" {
		var err error
		if n, err = strconv.Atoi(s); err != nil {
			t.Fatal(err)
		}
	}
	count := map[fate]int{}
	for i := range n {
		rng := rand.New(rand.NewPCG(8, uint64(i)))
		data := scribe{rng, []float64{0, 0.05, 0.2}[rng.IntN(3)]}.file()
		t.Run(fmt.Sprint(i), func(t *testing.T) {
			became, err := try(t, t.TempDir(), data)
			if err != nil && strings.TrimSpace(err.Error()) == "" {
				t.Fatal("refused without a word")
			}
			count[became]++
			t.Logf("%s: %v\n%s", became, err, data)
		})
	}
	t.Logf("%d configurations: %v", n, count)
	if count[fires] == 0 || count[refused] == 0 {
		t.Errorf("%v: all of a kind", count)
	}
}
