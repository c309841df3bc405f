package inside

import (
	"errors"
	"math"

	"calx/sim/kiln"
	"calx/sim/quantity"
)

// densest is the largest share of a floor that equal circles can cover: π/√12
// (L. Fejes Tóth, Mathematische Zeitschrift 46, 1940).
var densest = math.Pi / math.Sqrt(12)

// Fits refuses moulds that do not go into the chamber: each by itself, and all
// together on as many shelves as their height leaves room for. What it lets
// pass may still not be packed in practice.
func Fits(files []File, k kiln.Params) error {
	c := k.Chamber
	narrow := min(c.Width, c.Depth)
	var errs []error
	floorM2, tallest := 0.0, quantity.Length(0)
	for _, f := range files {
		flask, wide := f.Params.Flask, outside(f.Params.Flask)
		if wide > narrow {
			errs = append(errs, f.wrong("flask.diameter", "%v, with its sleeve %v, does not go into the chamber of kiln %s, which is %v x %v; at most %v",
				flask.Diameter, wide, k.Name, c.Width, c.Depth, max(0, narrow-(wide-flask.Diameter))))
		}
		if flask.Height > c.Height {
			errs = append(errs, f.wrong("flask.height", "%v is more than the chamber of kiln %s is high; at most %v", flask.Height, k.Name, c.Height))
		}
		tallest = max(tallest, flask.Height)
		floorM2 += float64(max(1, f.Params.Count)) * math.Pi / 4 * float64(wide*wide)
	}
	if len(errs) > 0 || len(files) == 0 {
		return errors.Join(errs...)
	}
	shelves := math.Floor(float64(c.Height / tallest))
	if room := shelves * densest * float64(c.Width*c.Depth); floorM2 > room {
		worst := files[0]
		for _, f := range files {
			if max(1, f.Params.Count) > max(1, worst.Params.Count) {
				worst = f
			}
		}
		one := math.Pi / 4 * math.Pow(float64(outside(worst.Params.Flask)), 2)
		n := max(1, worst.Params.Count)
		most := max(0, n-int(math.Ceil((floorM2-room)/one)))
		return worst.wrong("count", "%d: all moulds together take %.0f cm2 of floor, and the chamber of kiln %s has %.0f cm2 for round ones on %.0f shelves; at most %d of these",
			n, floorM2*1e4, k.Name, room*1e4, shelves, most)
	}
	return nil
}
