package tidings

import (
	"fmt"
	"regexp"
	"strconv"
	"time"
)

// Quiet is a span of the day by the clock on the wall, in minutes since
// midnight. From after To runs over midnight; the zero value is no span.
type Quiet struct {
	FromMin, ToMin int // 0..1439
}

var quietText = regexp.MustCompile(`^([01]?\d|2[0-3]):([0-5]\d) to ([01]?\d|2[0-3]):([0-5]\d)$`)

// ParseQuiet reads "22:00 to 07:00".
func ParseQuiet(s string) (Quiet, error) {
	m := quietText.FindStringSubmatch(s)
	if m == nil {
		return Quiet{}, fmt.Errorf("read %q; quiet hours are written as 22:00 to 07:00", s)
	}
	n := make([]int, len(m))
	for i := range m {
		n[i], _ = strconv.Atoi(m[i]) // digits, by the pattern
	}
	q := Quiet{n[1]*60 + n[2], n[3]*60 + n[4]}
	if q.FromMin == q.ToMin {
		return Quiet{}, fmt.Errorf("read %q; quiet hours that begin and end at the same minute are none, or all day; leave quiet out, or name another end", s)
	}
	return q, nil
}

func (q Quiet) String() string {
	if q == (Quiet{}) {
		return ""
	}
	return fmt.Sprintf("%02d:%02d to %02d:%02d", q.FromMin/60, q.FromMin%60, q.ToMin/60, q.ToMin%60)
}

// At reports whether the clock on the wall stands in q; local is the time in
// the zone of the house. Only what the clock reads counts, so an hour that
// happens twice is quiet twice, and one that is left out delays nothing.
func (q Quiet) At(local time.Time) bool {
	now := local.Hour()*60 + local.Minute()
	if q.FromMin <= q.ToMin {
		return q.FromMin <= now && now < q.ToMin
	}
	return now >= q.FromMin || now < q.ToMin
}
