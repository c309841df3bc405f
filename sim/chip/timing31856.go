package chip

import "time"

// timing is how long the conversions of a MAX31856 take with given settings.
// Typical figures, data sheet 19-7534, conversion time and open-circuit test
// tables, from memory: one-shot 143 ms (60 Hz) or 169 ms (50 Hz), automatic 82
// or 98 ms; each further averaged sample 33.3 or 40 ms in one-shot, 16.7 or
// 20 ms in automatic mode; the open test, in each one-shot conversion and in
// one of sixteen automatic ones, 13.3, 33.4 or 113.4 ms more.
type timing struct {
	oneShot, repeat time.Duration // without the open test
	test            time.Duration // the open test, 0 when off
	samples         int           // averaged in one result
}

var openTestTime = [4]time.Duration{
	0, 13300 * time.Microsecond, 33400 * time.Microsecond, 113400 * time.Microsecond,
}

// testEvery is how many automatic conversions share one open test.
const testEvery = 16

func timingOf(cr0, cr1 byte) timing {
	t := timing{samples: 1 << min(cr1>>4&7, 4), test: openTestTime[cr0>>4&3]}
	further := time.Duration(t.samples - 1)
	if cr0&cr0Notch50 != 0 {
		t.oneShot = 169*time.Millisecond + further*40*time.Millisecond
		t.repeat = 98*time.Millisecond + further*20*time.Millisecond
	} else {
		t.oneShot = 143*time.Millisecond + further*time.Second/30
		t.repeat = 82*time.Millisecond + further*time.Second/60
	}
	return t
}

// automatic says what has finished so long after the start of automatic mode:
// how many conversions, how many open tests, and when the last of the
// conversions finished. The first conversion of each sixteen begins with the
// test.
func (t timing) automatic(elapsed time.Duration) (done, tests int64, finished time.Duration) {
	block := testEvery*t.repeat + t.test
	blocks := int64(elapsed / block)
	rest := elapsed % block
	done = blocks * testEvery
	finished = time.Duration(blocks) * block
	if rest >= t.test+t.repeat {
		n := (rest - t.test) / t.repeat
		done += int64(n)
		finished += t.test + n*t.repeat
	}
	if t.test > 0 {
		tests = blocks
		if rest >= t.test {
			tests++
		}
	}
	return done, tests, finished
}
