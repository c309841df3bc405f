package controller_test

import (
	"fmt"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"calx/controller"
	"calx/controller/resume"
	"calx/sim/kiln"
	"calx/sim/mould"
)

// cutProfile has every stage of a burnout.
const cutProfile = "heat to 150 C at 120 C/h\nhold until dry, at least 1 h, at most 12 h\nheat to 370 C at 75 C/h\nheat to 700 C at 150 C/h\nhold 1 h\ncool to 540 C at 100 C/h\nhold 30 min\n"

// stages are where the power goes, by step, and how long after it began.
var stages = []struct {
	name  string
	step  int
	after time.Duration
}{
	{"steam hold, wet", 1, 20 * time.Minute},
	{"ramp in the inversion", 2, 80 * time.Minute},
	{"ramp to the top", 3, 90 * time.Minute},
	{"top hold", 4, 30 * time.Minute},
	{"cooling", 5, 30 * time.Minute},
	{"hold before the pour", 6, 10 * time.Minute},
}

// cutRun is a firing with a mould that follows the true chamber.
type cutRun struct {
	*fired
	m     *mould.Model
	truth mould.State
	hot   worst // what heating did; cooling loads a mould too, and is no choice of calx
	seen  mould.Reading
}

func (r *cutRun) run(until func() bool) {
	r.t.Helper()
	for end := r.now + 96*time.Hour; !r.out.Ended && !until(); {
		require.Less(r.t, r.now, end)
		r.tick()
		r.m.Step(&r.truth, 1, r.k.JunctionC(), false)
		if r.s.Seq%60 == 0 {
			r.look()
		}
	}
}

// look takes the loads of a mould that is being heated.
func (r *cutRun) look() {
	r.m.ReadInto(&r.truth, &r.seen)
	f := &r.seen.Flasks[0]
	w, k := &r.hot, f.SurfaceC-f.CoreC
	w.steam = math.Max(w.steam, f.SteamIndex)
	within := func(lowC, highC float64) bool { return f.SurfaceC > lowC && f.CoreC < highC }
	if within(200, 280) {
		w.cristobalK = math.Max(w.cristobalK, k)
	}
	if within(550, 600) {
		w.quartzK = math.Max(w.quartzK, k)
	}
}

// worst are the largest loads on a mould: steam index, surface above core in K.
type worst struct{ steam, cristobalK, quartzK float64 }

// fork is a copy that goes its own way.
func (r *cutRun) fork() *cutRun {
	k := kiln.New(r.p, 20)
	require.NoError(r.t, k.Restore(r.k.State()))
	f := *r.fired
	f.k = k
	return &cutRun{fired: &f, m: r.m, truth: r.truth.Clone()}
}

// outage lets the power be away and judges as the station does.
func (r *cutRun) outage(d time.Duration) (v resume.Verdict, lostC float64) {
	before := r.s
	b, err := before.Snapshot()
	require.NoError(r.t, err)
	for range int(d.Seconds()) {
		r.pass(false)
		r.m.Step(&r.truth, 1, r.k.JunctionC(), false)
	}
	r.s, err = controller.Restore(b)
	require.NoError(r.t, err)
	needC, wet, steam := r.c.Standing(r.s)
	c := resume.Case{
		Gap: resume.Gap{Least: d, Likely: d, Most: d}, BeforeC: before.History.HotC, NowC: r.k.JunctionC(), NeedC: needC,
		Moulds: true, Wet: wet, Steam: steam,
	}
	return resume.Judge(c), c.CostC()
}

// Stage by gap by kiln: what becomes of the firing, what it costs, and whether
// the way back loads the mould more than the firing that was not cut. A person
// who is asked lets it go on ten minutes later. make cuts-table tries all.
func TestCuts(t *testing.T) {
	if testing.Short() {
		t.Skip("long: nights of a kiln and a mould")
	}
	kilns, gaps, some, standing := []string{"jewellery-3l-fibre"}, []time.Duration{time.Hour}, stages[:2], "test-plug-60"
	if os.Getenv("CALX_CUTS") == "all" {
		some, standing = stages, "woody-pod-90"
		kilns = []string{"bench-9l-brick", "jewellery-3l-fibre", "bench-16l-fibre-120v", "studio-40l-brick"}
		gaps = []time.Duration{time.Minute, 5 * time.Minute, 20 * time.Minute, time.Hour, 4 * time.Hour}
	}
	var table strings.Builder
	fmt.Fprintf(&table, "\n%-22s %-22s %7s  %-16s %6s %9s  %-26s\n", "kiln", "stage", "gap", "decision", "lost", "extra", "way back against no cut: steam, cristobalite K, quartz K")
	for _, name := range kilns {
		m := standingIn(t, standing)
		whole := &cutRun{fired: fire(t, name, cutProfile, m), m: m.Model, truth: m.Model.Start(20)}
		forks := make([]*cutRun, len(some))
		for i, st := range some {
			whole.run(whole.at(st.step))
			begun := whole.now
			whole.run(func() bool { return whole.now >= begun+st.after })
			forks[i] = whole.fork()
		}
		whole.run(func() bool { return false })
		require.Equal(t, "finished", whole.s.Outcome(), name)
		free := whole.hot
		for i, st := range some {
			for _, gap := range gaps {
				r := forks[i].fork()
				require.False(t, r.out.Ended, "%s: the stage is over before the cut", st.name)
				v, lostC := r.outage(gap)
				asked := time.Duration(0)
				if v.Do == resume.Wait {
					asked = 10 * time.Minute
					r.s.Asks = v.Why
					since := r.now
					r.run(func() bool { return r.now >= since+asked })
					r.hot = worst{}
					r.tick(controller.Resume)
					require.Empty(t, r.s.Asks)
				}
				r.hot = worst{}
				r.run(func() bool { return false })
				require.Equal(t, "finished", r.s.Outcome())
				extra, w := r.now-whole.now-gap-asked, r.hot
				fmt.Fprintf(&table, "%-22s %-22s %7s  %-16s %4.0f C %7.0f min  %.2f of %.2f, %3.0f of %3.0f, %3.0f of %3.0f\n", name, st.name, gap, v.Do, lostC, extra.Minutes(),
					w.steam, free.steam, w.cristobalK, free.cristobalK, w.quartzK, free.quartzK)
				at := fmt.Sprintf("%s, %s, %v", name, st.name, gap)
				const alike, anyhow = 1.1, 5 // of the firing that was not cut; K that no mould minds
				assert.LessOrEqual(t, w.steam, math.Max(alike*free.steam, 0.1), "steam index: %s", at)
				assert.LessOrEqual(t, w.cristobalK, alike*free.cristobalK+anyhow, "K in the cristobalite inversion: %s", at)
				assert.LessOrEqual(t, w.quartzK, alike*free.quartzK+anyhow, "K in the quartz inversion: %s", at)
				assert.Equal(t, lostC < resume.ShortC, v.Do == resume.Proceed, at)
			}
		}
	}
	t.Log(table.String())
}
