package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"calx/cmd/calx/health"
	"calx/sim/kiln"
	"calx/storage"
	"calx/storage/record"
)

// measureFiring reads a firing once, keeping nothing, and measures it. What is
// damaged is left out and named in the error; an error of another kind comes
// with ok false. k is the kiln to hold its heat against; nil for none.
func measureFiring(l *storage.Log, h record.Firing, k *kiln.Params, kilnText string) (health.Figures, error) {
	m := health.NewMeter(h)
	err := l.Readings(h.ID, 0, 0, func(r *record.Reading) error { m.Add(r); return nil })
	return m.Figures(k, kilnText), err
}

// presentKiln is the kiln of the newest firing that calx fired.
func presentKiln(heads []record.Firing) (text string, p *kiln.Params) {
	for i := len(heads) - 1; i >= 0; i-- {
		if heads[i].Imported != "" {
			continue
		}
		if k, err := kiln.Load("kiln file in the log", []byte(heads[i].Kiln)); err == nil {
			return heads[i].Kiln, &k
		}
	}
	return "", nil
}

// figuresKept are the figures that the log keeps, by firing.
type figuresKept map[uint64]health.Figures

func keptFigures(l *storage.Log) (figuresKept, error) {
	raw, err := l.Figures()
	out := figuresKept{}
	for id, b := range raw {
		if f, ok := health.Decode(b); ok {
			out[id] = f
		}
	}
	return out, err
}

// fresh reports whether the figures of a firing can be used as they are; print
// is the fingerprint of the present kiln.
func (k figuresKept) fresh(h record.Firing, print string) bool {
	f, ok := k[h.ID]
	return ok && (h.Imported != "" || f.Kiln == print)
}

// lookAtHealth measures every firing that has ended, as far as the log does
// not keep its figures. step is told how far it is.
func lookAtHealth(ctx context.Context, l *storage.Log, step func(done, all int)) (r health.Report, err error) {
	heads, damage := l.Firings()
	text, p := presentKiln(heads)
	if p == nil {
		return r, errors.Join(damage, errors.New("the log holds no firing of this kiln yet, so nothing is known of its health"))
	}
	k, err := keptFigures(l)
	if err != nil {
		return r, err
	}
	var entries []health.Entry
	for i, h := range heads {
		if h.Outcome == "" || h.Imported != "" {
			continue
		}
		if err := ctx.Err(); err != nil {
			return r, err
		}
		step(i, len(heads))
		f := k[h.ID]
		if !k.fresh(h, health.Fingerprint(text)) {
			if f, err = measureFiring(l, h, p, text); err != nil {
				damage = errors.Join(damage, err)
			}
		}
		entries = append(entries, health.Entry{ID: h.ID, Started: h.Started, Figures: f})
	}
	r = health.Look(*p, entries)
	r.Units = "C"
	if heads[len(heads)-1].Units == "F" {
		r.Units = "F"
	}
	return r, damage
}

// lookEvery is how often it is seen whether a firing has ended.
const lookEvery = 5 * time.Second

// keepHealth keeps the figures of every firing that has ended in the log, while
// nothing is fired, and shows them to the metrics. It returns when ctx ends.
func (d *daemon) keepHealth(ctx context.Context) {
	t := time.NewTicker(lookEvery)
	defer t.Stop()
	for done := false; ; {
		if _, running := d.log.Unfinished(); running {
			done = false
		} else if !done {
			d.keepAll(ctx)
			done = true
		}
		select {
		case <-t.C:
		case <-ctx.Done():
			return
		}
	}
}

// keepAll measures what the log does not keep yet. What cannot be kept is
// measured again another time: nothing but speed depends on it.
func (d *daemon) keepAll(ctx context.Context) {
	heads, _ := d.log.Firings()
	text, p := presentKiln(heads)
	k, err := keptFigures(d.log)
	if p == nil || err != nil {
		return
	}
	for _, h := range heads {
		if h.Outcome == "" || k.fresh(h, health.Fingerprint(text)) {
			continue
		}
		if _, running := d.log.Unfinished(); running || ctx.Err() != nil {
			return
		}
		f, err := measureFiring(d.log, h, p, text)
		if err == nil {
			err = d.log.KeepFigures(h.ID, f.Encode())
		}
		if err != nil {
			d.say.Printf("the figures of firing %d cannot be kept: %v", h.ID, err)
		}
	}
	r, err := lookAtHealth(ctx, d.log, func(int, int) {})
	if err != nil && ctx.Err() == nil {
		d.say.Printf("health of the kiln: %v", err)
	}
	if r.Kiln != "" {
		d.metrics.SetHealth(r) // of all that can be read
	}
}

// progressOf shows how far long work is, on a terminal only.
func (e *env) progressOf(what string) (step func(done, all int), stop func()) {
	if !e.tty {
		return func(int, int) {}, func() {}
	}
	began := time.Now()
	return func(done, all int) {
		if time.Since(began) > time.Second {
			fmt.Fprintf(e.out, "\r%s %d of %d\x1b[K", what, done+1, all)
		}
	}, func() { fmt.Fprint(e.out, "\r\x1b[K") }
}
