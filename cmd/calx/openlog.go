package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"strconv"

	"calx/storage"
)

// configNames are where the configuration is looked for when none is named.
var configNames = []string{"calx.yaml", "/etc/calx/calx.yaml"}

// find is the file that is meant; "" when there is none.
func (f configFlag) find() string {
	if f.Config != "" {
		return f.Config
	}
	for _, n := range configNames {
		if _, err := os.Stat(n); err == nil {
			return n
		}
	}
	return ""
}

// logFlags is where the log is.
type logFlags struct {
	Data string `help:"Folder of the log, or the file itself; otherwise the folder calx.yaml names. With --at alone, the log is fetched from there." placeholder:"DIR" type:"path"`
	daemonFlag
}

// openedLog is a log open for reading. Close it.
type openedLog struct {
	*storage.Log
	fetched string // temporary copy to remove; "" when there is none
}

func (l *openedLog) Close() error {
	err := l.Log.Close()
	if l.fetched != "" {
		err = errors.Join(err, os.Remove(l.fetched))
	}
	return err
}

// open opens the log for reading. A daemon that is writing it is asked for a
// copy.
func (f logFlags) open(ctx context.Context) (*openedLog, error) {
	file, err := f.file()
	if err != nil {
		return nil, err
	}
	if file != "" {
		l, err := storage.Open(file, &storage.Opts{ReadOnly: true})
		if err == nil {
			return &openedLog{Log: l}, nil
		} else if !errors.Is(err, storage.ErrInUse) {
			return nil, err
		}
	}
	c, err := f.client()
	if err != nil {
		return nil, err
	}
	l, err := c.fetchLog(ctx)
	if err != nil && file != "" {
		return nil, fmt.Errorf("the log %s is being written by another calx, so a copy was asked for: %w", file, err)
	}
	return l, err
}

// file is the file of the log; "" when only the daemon can have it.
func (f logFlags) file() (string, error) {
	if f.Data == "" {
		if f.At != "" {
			return "", nil
		}
		c, err := f.load()
		if err != nil {
			return "", fmt.Errorf("%w\nname the folder of the log with --data DIR to go on without the configuration", err)
		}
		if c == nil {
			return "", usageError{errors.New("no log to read: there is no calx.yaml here; name the folder of the log with --data DIR, or a calx that runs with --at HOST:PORT")}
		}
		return filepath.Join(c.Path(c.Data), logName), nil
	}
	info, err := os.Stat(f.Data)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "", fmt.Errorf("--data %s: there is no such folder", f.Data)
	case err != nil:
		return "", err
	case info.IsDir():
		return filepath.Join(f.Data, logName), nil
	}
	return f.Data, nil
}

// fetchLog copies the log of the daemon into a temporary file and opens that.
func (c *client) fetchLog(ctx context.Context) (_ *openedLog, err error) {
	body, err := c.do(ctx, http.MethodGet, "/api/log", nil)
	if err != nil {
		return nil, err
	}
	defer body.Close()
	w, err := os.CreateTemp("", "calx-log-*.db")
	if err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.Remove(w.Name()))
		}
	}()
	if _, err = io.Copy(w, body); err != nil {
		return nil, errors.Join(fmt.Errorf("the log could not be fetched from %s: %w", c.at, err), w.Close())
	}
	if err = w.Close(); err != nil {
		return nil, err
	}
	l, err := storage.Open(w.Name(), &storage.Opts{ReadOnly: true})
	if err != nil {
		return nil, fmt.Errorf("what %s sent cannot be used: %w", c.at, err)
	}
	return &openedLog{Log: l, fetched: w.Name()}, nil
}

// firingArg is which firing is meant.
type firingArg struct {
	Firing string `arg:"" optional:"" default:"last" help:"Number of the firing, or last." placeholder:"N|last"`
}

// pick finds the number of the firing meant.
func (a firingArg) pick(l *storage.Log) (uint64, error) {
	if a.Firing != "last" {
		id, err := strconv.ParseUint(a.Firing, 10, 64)
		if err != nil || id == 0 {
			return 0, usageError{fmt.Errorf("firing is %q; it must be the number of a firing, or last", a.Firing)}
		}
		return id, nil
	}
	heads, err := l.Firings()
	if len(heads) == 0 {
		return 0, errors.Join(err, errors.New("the log holds no firing yet"))
	}
	return heads[len(heads)-1].ID, nil
}

// read reads the firing meant. What is damaged is left out and named on the
// error output; the rest is shown.
func (a firingArg) read(e *env, f logFlags) (_ *firing, err error) {
	l, err := f.open(e.ctx)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, l.Close()) }()
	id, err := a.pick(l.Log)
	if err != nil {
		return nil, err
	}
	return readFiring(l.Log, id)
}
