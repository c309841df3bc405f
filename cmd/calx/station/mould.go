package station

import (
	"encoding/json"
	"math"
	"time"

	"calx/cmd/calx/inside"
	"calx/controller"
	"calx/profile"
	"calx/sim/kiln"
	"calx/storage/record"
)

// Inside is what is known of the moulds in a Status, on the physics and what
// it rests on; none of it is measured. Times count from the start of the
// firing and are null for what the rest of the profile does not bring.
type Inside struct {
	Flasks    []Flask  `json:"flasks"`
	Chance    float64  `json:"chance_clear"`          // of the least certain piece, 0..1
	Want      float64  `json:"chance_wanted"`         // what the profile asks for, or 0.95
	WantAtS   *float64 `json:"predicted_chance_s"`    // when the chance is that
	ClearS    *float64 `json:"predicted_clear_s"`     // when the model has every piece clear
	DryS      *float64 `json:"predicted_dry_s"`       // when no free water is left
	EndS      *float64 `json:"predicted_end_s"`       // of the profile
	ForeseenS *float64 `json:"predictions_made_at_s"` // null before the first
	Evidence  string   `json:"evidence"`              // what the chance rests on, for people
}

// Flask is one kind of mould.
type Flask struct {
	Name      string  `json:"name"`
	CoreC     float64 `json:"core_c"`
	SurfaceC  float64 `json:"surface_c"`
	WaterLeft float64 `json:"water_left"` // free water, share of that at the start
	CharLeft  float64 `json:"char_left"`  // share of all char that forms
	Clear     float64 `json:"clear"`      // share of what has to burn that is gone
}

// moulds is what a job knows of what stands in the kiln; the zero value is an
// empty one.
type moulds struct {
	model    *controller.Mould
	names    []string
	want     float64
	evidence string
}

// believing gives the moulds of a firing the beliefs it begins or goes on with.
type believing func(*controller.Mould, []inside.File, *profile.Profile) error

// learn takes in the test pieces of the notebook.
func (s *Station) learn(m *controller.Mould, files []inside.File, p *profile.Profile) error {
	all, damage := s.parts.Log.Notes(record.PieceNote)
	pulls := inside.ReadPulls(s.parts.Log, record.Standing(record.Latest(all)))
	if damage != nil {
		pulls.LeftOut = append(pulls.LeftOut, damage.Error())
	}
	inside.Learn(m, files, p, pulls)
	return nil
}

// recall takes the beliefs of the head of a firing.
func recall(head record.Firing) believing {
	return func(m *controller.Mould, _ []inside.File, _ *profile.Profile) error {
		return inside.Recall(m, head.Beliefs)
	}
}

// mouldsOf reads the moulds of a request, and what is to be expected of them
// under p in this kiln.
func (s *Station) mouldsOf(texts []string, p *profile.Profile, believe believing) (m moulds, err error) {
	k, err := kiln.Load(s.parts.KilnName, []byte(s.parts.KilnText))
	if err != nil {
		return m, err
	}
	files, err := inside.ReadAll(texts)
	if err != nil {
		return m, err
	}
	if m.model, err = inside.Build(files, k, p, s.roles()); err != nil {
		return m, err
	}
	if err := believe(m.model, files, p); err != nil {
		return m, err
	}
	m.names, m.want, m.evidence = inside.Names(files), inside.Wanted(p), inside.Evidence(m.model)
	return m, nil
}

// roles are those of the thermocouples beside the chamber's.
func (s *Station) roles() (rs []string) {
	for _, c := range s.parts.Channels[min(1, len(s.parts.Channels)):] {
		rs = append(rs, c.Role)
	}
	return rs
}

// look makes the Inside of a tick; what is predicted stays as it was until the
// next prediction. A Status that was handed out is never changed.
func (m moulds) look(was *Inside, cs controller.State, r *record.Reading) *Inside {
	n := r.Moulds()
	if m.model == nil || n != len(m.names) {
		return nil
	}
	in := Inside{Want: m.want, Evidence: m.evidence}
	if was != nil {
		in = *was
	}
	in.Flasks, in.Chance = make([]Flask, n), r.ClearChance()
	for i := range in.Flasks {
		f := r.Mould(i)
		in.Flasks[i] = Flask{m.names[i], f.CoreC, f.SurfaceC, f.WaterLeft, f.CharLeft, f.Clear}
	}
	if cs.Inside.Dry {
		in.DryS = number(dryS(cs))
	}
	if v := clearS(cs); v >= 0 {
		in.ClearS = number(v)
	}
	return &in
}

// dryS is when the last mould was dry, s since the start.
func dryS(cs controller.State) (at float64) {
	for _, f := range cs.Inside.State.Flasks {
		at = math.Max(at, f.DryS)
	}
	return at
}

// clearS is when the last piece was clear by the model, s since the start; -1
// before.
func clearS(cs controller.State) (at float64) {
	for _, f := range cs.Inside.State.Flasks {
		for _, p := range f.Pieces {
			if p.ClearS < 0 {
				return -1
			}
			at = math.Max(at, p.ClearS)
		}
	}
	return at
}

// foresight is when a firing was last predicted. Only the loop touches it.
type foresight struct {
	at   time.Duration
	made bool
	busy chan struct{} // closed when the prediction under way is there
}

// foreseeEvery is how old a prediction may be, of the firing's own time.
const foreseeEvery = time.Minute

// foresee predicts the rest of the firing beside the loop, which must not wait
// for it, and only while somebody looks.
func (s *Station) foresee(f *foresight, j *job, cs controller.State) {
	if !cs.Inside.Begun || cs.Outcome() != "" || f.made && cs.Now-f.at < foreseeEvery {
		return
	}
	select {
	case <-f.busy:
	default:
		if f.busy != nil {
			return
		}
	}
	s.mu.Lock()
	looked := s.looked
	s.looked = false
	s.mu.Unlock()
	if !looked {
		return
	}
	f.at, f.made, f.busy = cs.Now, true, make(chan struct{})
	go func(done chan<- struct{}) {
		defer close(done)
		p := j.control.Predict(cs)
		s.update(func(st *Status) {
			if st.Inside == nil || st.Firing == nil || st.Firing.ID != j.head.ID {
				return // it has ended meanwhile
			}
			in := *st.Inside
			in.take(p, cs)
			st.Inside = &in
		})
	}(f.busy)
}

// take puts a prediction made of cs into the status. What has come already
// keeps its own time.
func (in *Inside) take(p controller.Prediction, cs controller.State) {
	at := func(d time.Duration) *float64 {
		if d < 0 {
			return nil
		}
		return number(d.Seconds())
	}
	if !cs.Inside.Dry {
		in.DryS = at(p.Dry)
	}
	if clearS(cs) < 0 {
		in.ClearS = at(p.Clear)
	}
	if in.Chance < in.Want || in.WantAtS == nil {
		in.WantAtS = at(p.Chance)
	}
	in.EndS, in.ForeseenS = at(p.End), at(cs.Now)
}

// keepEvery is how many snapshots without an event are passed over for one
// that is kept: of a firing with moulds the log is read from its start anyway.
const keepEvery = 10

// slim is what the log keeps of a snapshot: nil for nothing, else all but the
// inside of the moulds. That is some 17 KB for each kind, which every commit
// would write anew, and follows from the readings in a second: see rebuild.
func (j *journal) slim(state []byte, event bool) []byte {
	if !event && j.passed > 0 && j.passed < keepEvery {
		j.passed++
		return nil
	}
	j.passed = 1
	var parts map[string]json.RawMessage
	if json.Unmarshal(state, &parts) != nil {
		return state
	}
	delete(parts, "Inside")
	small, err := json.Marshal(parts)
	if err != nil {
		return state
	}
	return small
}
