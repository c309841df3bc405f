package bench_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/controller"
	"calx/controller/notice"
	"calx/sim/bench"
	"calx/storage/record"
)

// cell is one firing of the matrix.
type cell struct {
	f       fault
	k       *matrixKiln
	g       stage
	foundS  float64 // NaN: nobody was told
	offS    float64 // after which there was no heat any more; NaN: there was to the end
	fromC   float64 // true chamber when the fault began
	peakC   float64
	lostS   float64 // time without a record, but for power cuts
	outcome string
	code    string // of what was told first, or of the trip
	text    string
}

// failing is a journal that cannot write for a while.
type failing struct{ from, until time.Duration }

func (f *failing) Append(r record.Reading, _ []record.Event, _ []byte) error {
	if r.Since >= f.from && r.Since < f.until {
		return errors.New("no space left on device")
	}
	return nil
}

const (
	// watchOn is how long a kiln is watched after its firing ended.
	watchOn = 30 * time.Minute
	// patience is how long a firing may go on with a fault in it, and
	// recovered how long after one that has passed.
	patience, recovered = 8 * time.Hour, 90 * time.Minute
)

// watched is how long the firing is followed from the fault on.
func (f fault) watched() time.Duration {
	if f.goal != passes {
		return patience
	}
	if f.lasts > 0 {
		return f.lasts + recovered
	}
	return patience / 2
}

// expected are notices that every firing gives.
var expected = map[string]bool{notice.Told: true}

func (k *matrixKiln) try(tb testing.TB, f fault, g stage) cell {
	c := cell{f: f, k: k, g: g, foundS: math.NaN(), offS: math.NaN(), fromC: 20}
	n := night{options: bench.Options{AmbientC: 20, Seed: 12, MainsSwing: 0.015}, noSwitch: f.noSwitch}
	var at time.Duration
	if m := k.moments[g.initial]; m != nil {
		n.from, at, c.fromC = m, m.shop.Now+2*time.Second, m.shop.Kiln.JunctionC
	}
	if f.kind == "wrong_type" {
		f.value = wrongFor[string(k.letter)]
	}
	n.options.Mishaps = f.mishaps(at)
	if f.second {
		n.options.Second = &bench.Second{Spread: -0.01}
	}
	if f.sickLog > 0 {
		n.journal = &failing{at, at + f.sickLog}
	}
	if f.latency > 0 {
		n.late = func(b *bench.Bench) controller.Clock { return lateTicks{b, f.latency} }
	}
	var ended, last time.Duration
	n.tick = func(b *bench.Bench, s controller.State, o controller.Output) bool {
		now := b.Mono()
		c.lose(now-last, last > 0)
		last = now
		c.listen(s, o, (now - at).Seconds())
		tr := b.Truth()
		c.peakC = tr.PeakC
		if c.offS = math.Max((tr.HeatedAt - at).Seconds(), 0); tr.Closed {
			c.offS = math.NaN()
		}
		if o.Ended && ended == 0 {
			ended = now
		}
		return ended > 0 && now >= ended+watchOn || now >= at+f.watched()
	}
	c.outcome = k.run(tb, n).Outcome()
	return c
}

// lose counts the seconds between two records that have none.
func (c *cell) lose(gap time.Duration, known bool) {
	const cut = 170 * time.Second // less than a power cut with a boot
	if known && gap > time.Second && gap < cut {
		c.lostS += (gap - time.Second).Seconds()
	}
}

// listen notes what a person is told first, and that the firing was ended.
func (c *cell) listen(s controller.State, o controller.Output, sinceS float64) {
	for _, e := range o.Events {
		if e.Severity == record.Severity(notice.Info) || expected[e.Code] {
			continue
		}
		tripped := s.TripCode == e.Code
		if math.IsNaN(c.foundS) || tripped {
			c.foundS, c.code, c.text = sinceS, e.Code, e.Text
		}
	}
}

// lateTicks is a board that is busy: every sleep is too long.
type lateTicks struct {
	*bench.Bench
	by time.Duration
}

func (l lateTicks) Sleep(ctx context.Context, d time.Duration) error {
	return l.Bench.Sleep(ctx, d+l.by)
}

// boundC is the highest true temperature of the chamber that a fault may lead
// to: 25 °C above the ceiling, and with fibre, where a relay that welds at top
// heat leads further than that within a minute, a quarter more than what is left
// when it is cut after that minute.
func (c cell) boundC() float64 {
	bound := matrixCeilingC + 25
	if c.k.fibre {
		bound = math.Max(bound, c.fromC+1.25*c.k.best60C[c.g.initial])
	}
	return bound
}

// blindS is how long heat may go on without a reading, s.
const blindS = 5

// wrong is what is not as it must be; "" when all is well.
func (c cell) wrong() string {
	var w []string
	switch {
	case c.f.goal == trips && c.outcome != "tripped":
		w = append(w, "not found")
	case c.f.goal == trips && c.f.codes != "" && !strings.Contains(c.f.codes, c.code):
		w = append(w, "found as "+c.code)
	case c.f.goal == told && math.IsNaN(c.foundS):
		w = append(w, "nobody told")
	case c.f.goal == passes && c.outcome == "tripped":
		w = append(w, "false trip")
	}
	if c.f.codes == notice.NoReading && !(c.offS <= blindS) {
		w = append(w, "heats on without a reading")
	}
	if c.f.within > 0 && !(c.foundS <= c.f.within.Seconds()) {
		w = append(w, "found late")
	}
	if c.lostS > 2+c.f.lasts.Seconds()+c.f.latency.Seconds()*patience.Seconds() {
		w = append(w, fmt.Sprintf("%.0f s without a record", c.lostS))
	}
	cut := !(c.f.on == bench.OnMain && len(c.f.more) > 0) // two welded contacts are beyond calx
	if c.f.goal != shown && cut && c.peakC > c.boundC() {
		w = append(w, fmt.Sprintf("%.0f °C too hot", c.peakC-c.boundC()))
	}
	return strings.Join(w, ", ")
}

// possible reports whether the fault can befall the stage.
func (f fault) possible(g stage) bool {
	if f.stages == "" {
		return g.initial != '0'
	}
	return strings.IndexByte(f.stages, g.initial) >= 0
}

// together runs jobs on all processors and waits for them.
func together(t *testing.T, n int, name func(int) string, job func(testing.TB, int)) {
	t.Run("all", func(t *testing.T) {
		for i := range n {
			t.Run(name(i), func(t *testing.T) {
				t.Parallel()
				job(t, i)
			})
		}
	})
}

// TestFaultMatrix lets everything go wrong that can, in every stage, on four
// kilns. CALX_FAULT_TABLE names a file for the table and asks for all of it:
// otherwise a sample is tried. CALX_FAULT_ONLY is a regular expression that
// picks faults by name.
func TestFaultMatrix(t *testing.T) {
	if testing.Short() {
		t.Skip("long: two hundred firings")
	}
	t.Parallel()
	file := os.Getenv("CALX_FAULT_TABLE")
	names := []string{"jewellery-3l-fibre", "bench-9l-brick", "bench-12l-brick-120v", "studio-150l-brick"}
	if file == "" {
		names = names[1:2]
	}
	kilns := make([]*matrixKiln, len(names))
	together(t, len(names), func(i int) string { return names[i] }, func(tb testing.TB, i int) { kilns[i] = newMatrixKiln(tb, names[i]) })
	cells := pick(kilns, file == "")
	together(t, len(cells), func(i int) string { return cells[i].name() }, func(tb testing.TB, i int) {
		cells[i] = cells[i].k.try(tb, cells[i].f, cells[i].g)
		if w := cells[i].wrong(); file != "" || cells[i].f.gap == "" {
			assert.Empty(tb, w, cells[i].text)
		}
	})
	if file != "" {
		rows := condensed(cells) + "\n" + header()
		for _, c := range cells {
			rows += c.row()
		}
		require.NoError(t, os.WriteFile(file, []byte(rows), 0o644))
	}
}

// pick lays out the matrix, or a sample of it: each fault that is found soon, in
// a stage that goes round.
func pick(kilns []*matrixKiln, sample bool) []cell {
	only := regexp.MustCompile(os.Getenv("CALX_FAULT_ONLY"))
	var out []cell
	for _, k := range kilns {
		for i, f := range whole(k.real.RatedW()) {
			if sample && (f.goal != trips || f.stages == "0") || !only.MatchString(f.name) {
				continue
			}
			for j, g := range stages {
				if f.possible(g) && (!sample || j == 1+i%(len(stages)-1)) {
					out = append(out, cell{f: f, k: k, g: g})
				}
			}
		}
	}
	return out
}
