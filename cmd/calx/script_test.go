package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log"
	"net/http/httptest"
	"os"
	"path/filepath"
	"reflect"
	"strconv"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"calx/cmd/calx/config"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"calx": func() { os.Exit(run(os.Args[1:])) }})
}

// quiet is a scene without a terminal, a configuration or a daemon that happen
// to be there.
func quiet(e *testscript.Env) {
	e.Setenv("TZ", "UTC")
	e.Setenv("LANG", "C.UTF-8")
	e.Setenv("LC_ALL", "")
	e.Setenv("NO_COLOR", "")
	e.Setenv("CALX_AT", "")
	e.Setenv("TMPDIR", e.WorkDir)
}

func TestScripts(t *testing.T) {
	if testing.Short() {
		t.Skip("long: some forty processes; the live scripts cover most of the same code")
	}
	testscript.Run(t, testscript.Params{
		Dir:   filepath.Join("testdata", "script"),
		Setup: func(e *testscript.Env) error { quiet(e); return nil },
		Cmds:  map[string]func(*testscript.TestScript, bool, []string){"json": cmdJSON},
	})
}

// benchSpeed is ten minutes a second: slow enough to press something, fast
// enough to wait for.
const benchSpeed = 600

// The live scripts find a daemon on a simulated kiln at $CALX_AT, its log in
// the folder $DATA.
func TestLiveScripts(t *testing.T) {
	dir, files := filepath.Join("testdata", "live"), []string(nil)
	if testing.Short() { // those in which most is pressed
		dir, files = "", []string{filepath.Join(dir, "firing.txtar"), filepath.Join(dir, "trip.txtar")}
	}
	testscript.Run(t, testscript.Params{
		Dir:   dir,
		Files: files,
		Cmds:  map[string]func(*testscript.TestScript, bool, []string){"json": cmdJSON},
		Setup: func(e *testscript.Env) error {
			quiet(e)
			c, err := config.Parse(filepath.Join(e.WorkDir, "calx.yaml"), []byte(benchConfig))
			if err != nil {
				return err
			}
			d, err := openDaemon(c, benchSpeed, log.New(io.Discard, "", 0))
			if err != nil {
				return err
			}
			ctx, cancel := context.WithCancel(context.Background())
			ended := make(chan error, 1)
			go func() { ended <- d.station.Run(ctx) }()
			web := httptest.NewServer(d.handler)
			e.Defer(func() {
				web.CloseClientConnections()
				web.Close()
				cancel()
				<-ended
				if err := d.close(); err != nil {
					t.Error(err)
				}
			})
			e.Setenv("CALX_AT", strings.TrimPrefix(web.URL, "http://"))
			e.Setenv("DATA", c.Path(c.Data))
			return nil
		},
	})
}

// cmdJSON looks into an object: json FILE PATH [OP] VALUE, where PATH is
// .firings.0.name, OP is = (or left out), != , < or >, and VALUE is JSON or a
// plain word. With "len" after the path it is the length that is compared.
// "json FILE" alone wants every line of FILE to be an object.
func cmdJSON(ts *testscript.TestScript, neg bool, args []string) {
	if len(args) < 1 || len(args) == 2 {
		ts.Fatalf("usage: json FILE [PATH [len] [OP] VALUE]")
	}
	text := ts.ReadFile(args[0])
	if len(args) == 1 {
		for _, l := range strings.Split(strings.TrimSpace(text), "\n") {
			var v map[string]any
			ts.Check(json.Unmarshal([]byte(l), &v))
		}
		return
	}
	var v any
	ts.Check(json.Unmarshal([]byte(text), &v))
	got, err := lookUp(v, args[1])
	ts.Check(err)
	rest := args[2:]
	if rest[0] == "len" {
		got, rest = float64(reflect.ValueOf(got).Len()), rest[1:]
	}
	op := "="
	if len(rest) == 2 {
		op, rest = rest[0], rest[1:]
	}
	if ok := compares(got, op, rest[0]); ok == neg {
		ts.Fatalf("%s of %s is %v; want %s %s", args[1], args[0], got, op, rest[0])
	}
}

func lookUp(v any, path string) (any, error) {
	for _, key := range strings.Split(strings.Trim(path, "."), ".") {
		switch at := v.(type) {
		case map[string]any:
			next, ok := at[key]
			if !ok {
				return nil, fmt.Errorf("there is no %q in %s", key, path)
			}
			v = next
		case []any:
			i, err := strconv.Atoi(key)
			if err != nil || i < 0 || i >= len(at) {
				return nil, fmt.Errorf("%q is no index of the %d values in %s", key, len(at), path)
			}
			v = at[i]
		default:
			return nil, fmt.Errorf("%v has no %q", v, key)
		}
	}
	return v, nil
}

func compares(got any, op, want string) bool {
	var w any
	if json.Unmarshal([]byte(want), &w) != nil {
		w = want
	}
	a, numeric := got.(float64)
	b, numeric2 := w.(float64)
	switch {
	case op == "=":
		return reflect.DeepEqual(got, w)
	case op == "!=":
		return !reflect.DeepEqual(got, w)
	case !numeric || !numeric2:
		return false
	case op == "<":
		return a < b
	}
	return op == ">" && a > b
}
