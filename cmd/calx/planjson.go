package main

import (
	"errors"
	"math"
	"strings"
	"time"

	"calx/profile/plan"
)

// planResult is the object that --json writes. Temperatures are °C, times RFC
// 3339, names that end in _s are seconds; those without another word are since
// the start of the firing. When the plan is refused ok is false, refusal is
// set and plan is null.
type planResult struct {
	OK      bool         `json:"ok"`
	Refusal *planRefusal `json:"refusal"`
	Plan    *plannedJSON `json:"plan"`
	WashOut *plannedJSON `json:"wash_out"` // the second firing; null unless --wash-out
	Helps   []planHelp   `json:"helps"`    // null unless --helps; the most first
}

// planRefusal tells why there is no plan.
type planRefusal struct {
	Field    string     `json:"field"` // what is wrong; "" when it is no single field
	Got      string     `json:"got"`
	Want     string     `json:"want"`
	Limit    string     `json:"limit"`    // what binds; "" when none does
	Earliest *time.Time `json:"earliest"` // the soonest pour time; null when that is not the matter
	WithAir  *time.Time `json:"earliest_with_air"`
}

// plannedJSON is one firing.
type plannedJSON struct {
	Kiln      string       `json:"kiln"`
	Moulds    []planMould  `json:"moulds"`
	Air       bool         `json:"air"`
	RoomC     float64      `json:"room_c"`
	PourC     *float64     `json:"pour_c"`  // null when it ends at the top
	Chance    float64      `json:"chance"`  // 0..1, asked for
	Profile   string       `json:"profile"` // in sentences
	Start     *time.Time   `json:"start"`
	Ready     *time.Time   `json:"ready"`   // after total_s, of wash_out after latest_s
	TotalS    float64      `json:"total_s"` // until ready
	DryS      float64      `json:"dry_s"`
	Clear     *planClear   `json:"clear"` // null when nothing burns
	EnergyKWh float64      `json:"energy_kwh"`
	Cost      *float64     `json:"cost"` // null without a price
	PeakDuty  float64      `json:"peak_duty"`
	Binding   string       `json:"binding"`
	Steps     []planStep   `json:"steps"`
	Window    *planWindow  `json:"pour_window"`
	Common    *planCommon  `json:"common_practice"`
	MarchedS  float64      `json:"marched_s"` // by a curve that no sentence can write
	Evidence  string       `json:"evidence"`  // what the time until clear rests on; "" where nothing burns
	Notes     []string     `json:"notes"`
	Curve     []planSample `json:"curve"`
}

type planMould struct {
	Name  string `json:"name"`
	Count int    `json:"count"`
}

// planClear is when the last piece is clear: low_s to high_s with the chance
// level, by_s with the chance asked for.
type planClear struct {
	LowS    float64 `json:"low_s"`
	MedianS float64 `json:"median_s"`
	HighS   float64 `json:"high_s"`
	Level   float64 `json:"level"`
	ByS     float64 `json:"by_s"`
}

type planStep struct {
	Step     int     `json:"step"` // from 1
	Sentence string  `json:"sentence"`
	StartS   float64 `json:"start_s"`
	EndS     float64 `json:"end_s"`
	Limit    string  `json:"limit"` // what binds it; "" when nothing does
	Reason   string  `json:"reason"`
}

// planWindow is how long the mould stays above least_c after leaving the kiln.
type planWindow struct {
	CavityS  float64 `json:"cavity_s"`
	CoreS    float64 `json:"core_s"`
	SurfaceS float64 `json:"surface_s"`
}

// planCommon is a schedule by flask size; extra for organic patterns.
type planCommon struct {
	Flask     string  `json:"flask"`
	LowS      float64 `json:"low_s"`
	HighS     float64 `json:"high_s"`
	ExtraLowS float64 `json:"extra_low_s"`
	ExtraS    float64 `json:"extra_high_s"`
	Source    string  `json:"source"`
}

// planSample is one moment; of several moulds the worst.
type planSample struct {
	SinceS     float64 `json:"since_s"`
	Step       int     `json:"step"` // from 1
	ChamberC   float64 `json:"chamber_c"`
	CoreC      float64 `json:"core_c"`
	SurfaceC   float64 `json:"surface_c"`
	WaterKg    float64 `json:"water_kg"`
	CharShare  float64 `json:"char"`
	ClearShare float64 `json:"clear"`
	SteamIndex float64 `json:"steam_index"`
	Oxygen     float64 `json:"oxygen"` // mole fraction
}

type planHelp struct {
	Change  string  `json:"change"`
	SavesS  float64 `json:"saves_s"` // below 0 it takes longer
	TotalS  float64 `json:"total_s"`
	Note    string  `json:"note"`
	Refused string  `json:"refused"` // why the changed plan cannot be; "" when it can
}

func (c *planCmd) printJSON(e *env, plans []*planned) error {
	res := planResult{OK: true, Plan: plans[0].json()}
	if len(plans) > 1 {
		res.WashOut = plans[1].json()
	}
	if c.Helps != nil && *c.Helps {
		hs, err := c.helps(e, plans[0])
		if err != nil {
			return err
		}
		res.Helps = []planHelp{}
		for _, h := range hs {
			j := planHelp{Change: h.Name, SavesS: h.Saves.Seconds(), TotalS: h.Total.Seconds(), Note: h.Note}
			if h.Err != nil {
				j.Refused = h.Err.Error()
			}
			res.Helps = append(res.Helps, j)
		}
	}
	return e.writeJSON(res)
}

func (p *planned) json() *plannedJSON {
	j := &plannedJSON{
		Kiln: p.in.Kiln.Name, Air: p.in.AirOn, RoomC: p.in.AmbientC, PourC: unlessZero(p.in.PourC), Chance: p.in.Clear,
		Profile: p.Profile.String(), Start: unlessNever(p.Start), Ready: unlessNever(p.Ready),
		TotalS: p.Total.Seconds(), DryS: p.DryAt.Seconds(), EnergyKWh: p.EnergyKWh, PeakDuty: p.PeakDuty,
		Binding: p.Binding, MarchedS: p.Marched.Seconds(), Notes: p.notes(), Evidence: p.evidence(),
	}
	for _, m := range p.in.Moulds {
		j.Moulds = append(j.Moulds, planMould{m.Name, max(1, m.Count)})
	}
	if p.ClearBy > 0 {
		c := p.ClearAt
		j.Clear = &planClear{c.Low.Seconds(), c.Median.Seconds(), c.High.Seconds(), c.Level, p.ClearBy.Seconds()}
	}
	if p.in.PricePerKWh > 0 {
		j.Cost = &p.Cost
	}
	for i, r := range p.Reasons {
		j.Steps = append(j.Steps, planStep{i + 1, p.Profile.Sentence(i), r.From.Seconds(), r.To.Seconds(), string(r.Limit), r.Text})
	}
	if w := p.Window; w.PatternS > 0 {
		j.Window = &planWindow{w.PatternS, w.CoreS, w.SurfaceS}
	}
	if c := p.Common; c.High > 0 && !p.wash {
		j.Common = &planCommon{c.Flask, c.Low.Seconds(), c.High.Seconds(), c.ExtraLow.Seconds(), c.Extra.Seconds(), c.Source}
	}
	for _, s := range p.Curve {
		j.Curve = append(j.Curve, planSample{
			s.Since.Seconds(), s.Step + 1, finite(s.ChamberC), finite(s.CoreC), finite(s.SurfaceC),
			finite(s.WaterKg), finite(s.CharShare), finite(s.ClearShare), finite(s.SteamIndex), finite(s.Oxygen),
		})
	}
	return j
}

// finite keeps what JSON cannot write out of it.
func finite(v float64) float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return 0
	}
	return v
}

func unlessZero(v float64) *float64 {
	if v == 0 {
		return nil
	}
	return &v
}

func unlessNever(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	return &t
}

// refused says why there is no plan, and what would make one possible.
func (c *planCmd) refused(e *env, err error) error {
	var r *plan.Refusal
	if !errors.As(err, &r) {
		return err
	}
	if c.JSON {
		out := planResult{Refusal: &planRefusal{r.Field, r.Got, r.Want, string(r.Limit), unlessNever(r.Earliest), unlessNever(r.WithAir)}}
		return errors.Join(e.writeJSON(out), err)
	}
	return errors.New(refusalText(r))
}

// refusalText is a refusal with a line for each thing it says.
func refusalText(r *plan.Refusal) string {
	lines := strings.Split(r.Error(), "; ")
	if r.Limit != "" {
		lines = append(lines, "what binds is "+string(r.Limit))
	}
	if !r.Earliest.IsZero() {
		lines = append(lines, `to plan for the earliest: --pour "`+r.Earliest.Format("2006-01-02 15:04")+`"`)
	}
	return strings.Join(lines, "\n  ")
}
