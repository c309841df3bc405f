//go:build linux

package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"path/filepath"

	"calx/storage"
	"calx/storage/record"
)

// acknowledged is the last reading that calx has shown to somebody: which
// firing, and how many seconds after its start.
func acknowledged() (string, error) {
	res, err := http.Get(api + "status")
	if err != nil {
		return "", err
	}
	defer res.Body.Close()
	var st struct {
		Firing *struct {
			ID     uint64  `json:"id"`
			SinceS float64 `json:"since_s"`
			Phase  string  `json:"phase"`
		} `json:"firing"`
	}
	if err := json.NewDecoder(res.Body).Decode(&st); err != nil {
		return "", err
	}
	if st.Firing == nil || st.Firing.Phase == "" {
		return "", errors.New("no firing")
	}
	return fmt.Sprintf("%d %.3f", st.Firing.ID, st.Firing.SinceS), nil
}

// kept is the last reading in the log, in the same form. Every reading before
// it must be there.
func kept() (string, error) {
	l, err := storage.Open(filepath.Join(dataDir, "calx.db"), &storage.Opts{ReadOnly: true})
	if err != nil {
		return "", err
	}
	defer l.Close()
	all, err := l.Firings()
	if err != nil {
		return "", err
	}
	var last string
	for _, f := range all {
		last = fmt.Sprintf("%d 0", f.ID)
		next := uint64(0)
		if err := l.Readings(f.ID, 0, 0, func(r *record.Reading) error {
			if r.Seq != next {
				return fmt.Errorf("firing %d: reading %d follows %d", f.ID, r.Seq, next)
			}
			next++
			last = fmt.Sprintf("%d %.3f", f.ID, r.Since.Seconds())
			return nil
		}); err != nil {
			return "", err
		}
	}
	return last, nil
}
