package plan

// repair makes the draft of the coarse grid good on the full one: while a limit
// is passed, the rate that helps most is lowered a notch; then every rate is
// raised for as long as that saves time and keeps the limits.
func (k *maker) repair() {
	start := k.begin(k.fine)
	dried := k.mend(func() *walk { return k.walker(k.fine, start).run(k.d.drying()) }, &k.d.toHold)
	burnt := k.mend(func() *walk {
		return k.walker(k.fine, dried.end).run(k.d.burning(k.in.Clear, k.in.AirOn))
	}, &k.d.slow, &k.d.mid, &k.d.last)
	if k.in.PourC > 0 && !k.soaked {
		k.mend(func() *walk {
			return k.walker(k.fine, burnt.end).run(k.d.cooling(k.in.PourC, k.in.AirOn))
		}, &k.d.fall, &k.d.cool)
	}
}

func (k *maker) mend(run func() *walk, rates ...*float64) *walk {
	const most = 40
	w := run()
	for range most {
		if k.excess(w) == 0 {
			break
		}
		w = k.lower(run, rates)
	}
	for _, r := range rates {
		for range most {
			was := *r
			if *r = k.faster(was); *r > k.lim.MostCPerH {
				*r = was
				break
			}
			v := run()
			if k.excess(v) > 0 || v.totalS() > w.totalS()-worthS {
				*r = was
				break
			}
			w = v
		}
	}
	return w
}

// lower takes a notch off the one rate that lowers the excess most, or off all
// if no single one does.
func (k *maker) lower(run func() *walk, rates []*float64) *walk {
	least, best := k.excess(run()), -1
	for i, r := range rates {
		was := *r
		*r = k.slower(was)
		if e := k.excess(run()); e < least {
			least, best = e, i
		}
		*r = was
	}
	for i, r := range rates {
		if best < 0 || i == best {
			*r = k.slower(*r)
		}
	}
	return run()
}

// faster is the next rate up that a person would write, slower the next down.
func (k *maker) faster(rate float64) float64 {
	const fine, steps = 0.5, 400
	for n := range steps {
		if r := k.grid.rate(rate + float64(n)*fine); r > rate+fine/2 {
			return r
		}
	}
	return 2 * rate
}

func (k *maker) slower(rate float64) float64 {
	const fine = 0.5
	return k.grid.rate(max(fine, rate-fine))
}
