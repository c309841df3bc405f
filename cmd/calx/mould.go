package main

import (
	"errors"
	"fmt"
	"os"
	"strings"

	"calx/cmd/calx/inside"
	"calx/profile"
	"calx/sim/mould"
)

// loadMould reads a mould file, or a shipped mould by its name.
func loadMould(name string) (inside.File, error) {
	data, err := os.ReadFile(name)
	if errors.Is(err, os.ErrNotExist) {
		if data, err = mould.ShippedFile(name); err != nil {
			return inside.File{}, fmt.Errorf("mould: there is no file %s, and no mould of that name comes with calx; there are %s", name, strings.Join(mould.Shipped(), ", "))
		}
	}
	if err != nil {
		return inside.File{}, fmt.Errorf("mould: %w", err)
	}
	return inside.Read(name, string(data))
}

// noMould is the name that stands for an empty kiln.
const noMould = "none"

// loadMoulds reads all that are named, and finds everything wrong with them.
func loadMoulds(names []string) ([]inside.File, error) {
	if len(names) == 1 && names[0] == noMould {
		return nil, nil
	}
	var out []inside.File
	var errs []error
	for _, n := range names {
		f, err := loadMould(n)
		if err != nil {
			errs = append(errs, err)
			continue
		}
		out = append(out, f)
	}
	return out, errors.Join(errs...)
}

// mouldTexts are the files as a firing keeps them.
func mouldTexts(files []inside.File) []string {
	var out []string
	for _, f := range files {
		out = append(out, f.Text)
	}
	return out
}

// expect adds to o how long the holds that wait for the moulds take, on the
// beliefs that the head of a firing kept. Without moulds it does nothing. Errors
// say what does not go together.
func (k *oven) expect(files []inside.File, p *profile.Profile, o *profile.Outlook, beliefs string) error {
	if len(files) == 0 {
		return nil
	}
	m, err := inside.Build(files, k.p, p, nil)
	if err != nil {
		return err
	}
	if err := inside.Recall(m, beliefs); err != nil {
		return err
	}
	o.Hold = inside.Follow(m, p, *o).Hold
	return nil
}

// share words a fraction in whole per cent. What is not all or nothing is not
// rounded to it.
func share(v float64) string {
	switch {
	case v > 0 && v < 0.01:
		return "under 1 %"
	case v < 1 && v > 0.99:
		return "over 99 %"
	}
	return fmt.Sprintf("%.0f %%", v*100)
}
