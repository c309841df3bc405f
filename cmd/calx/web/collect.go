package web

import (
	"fmt"
	"maps"
	"slices"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"calx/cmd/calx/station"
	"calx/controller/notice"
	"calx/sensor"
	"calx/storage"
	"calx/storage/record"
)

// collector shows, at a scrape, the status of the station, the tally and the
// figures of the log.
type collector struct{ m *Metrics }

func desc(name, help string, labels ...string) *prometheus.Desc {
	return prometheus.NewDesc("calx_"+name, help, labels, nil)
}

var (
	descTemperature = desc("temperature_celsius", "Temperature of a junction; absent while its thermocouple has a fault.", "channel", "junction")
	descSetpoint    = desc("setpoint_celsius", "What the chamber should have; absent while nothing is controlled.")
	descDuty        = desc("duty_ratio", "Share of full power asked for, 0 to 1.")
	descClosed      = desc("relay_closed", "1 while the heat relay is commanded on.")
	descClosings    = desc("relay_switches_total", "Times the heat relay was commanded on: the cycles that wear a contactor.")
	descEnergy      = desc("heater_energy_joules_total", "Energy of the heater, from its rated power and the time the relay was commanded on; not measured.")
	descFaults      = desc("sensor_faults_total", "Readings that carried this fault, all thermocouples together.", "fault")
	descTripped     = desc("guard_tripped", "1 from when this guard ended a firing until the next one begins.", "code")
	descLatched     = desc("trip_latched", "1 while a trip keeps anything from being fired, until a person clears it.")
	descAsks        = desc("firing_waits_for_person", "1 while a firing waits, heat off, for a person to say what next.")
	descDoor        = desc("door_open", "1 while the switch at the door says open or nothing; absent without a switch.")
	descAlarm       = desc("alarm_active", "1 while this alarm lasts; the manual says what to do.", "code")
	descNotices     = desc("notices_total", "Times a firing reported this.", "code")
	descPhase       = desc("firing_phase", "1 for what the firing is doing, 0 for the rest; idle without one.", "phase")
	descStep        = desc("firing_step", "Step of the profile, from 1; 0 without a firing.")
	descTicks       = desc("ticks_total", "Turns of the control loop, with a firing and without.")
	descOverruns    = desc("tick_overruns_total", "Ticks of a firing that began a whole period late or more.")
	descReadAt      = desc("reading_timestamp_seconds", "Wall clock of the last valid reading of the chamber.")
	descCommitTime  = desc("log_commit_seconds", "Time that commits of the log took, failed ones too.")
	descCommits     = desc("log_commits_total", "Commits of the log that are on disk.")
	descFailures    = desc("log_commit_failures_total", "Commits of the log that failed; they are tried again.")
	descQueued      = desc("log_queued_readings", "Readings not yet on disk.")
	descWaiting     = desc("log_waiting_seconds", "How long the oldest of them has waited.")
	descCore        = desc("mould_core_celsius", "Core of a mould, by the model on the measured chamber.", "flask")
	descWater       = desc("mould_water_ratio", "Free water left in a mould, share of that at the start, by the model.", "flask")
	descClear       = desc("mould_clear_ratio", "Share of what has to burn in a mould that is gone, by the model.", "flask")
	descChance      = desc("firing_clear_chance_ratio", "Chance that every piece by itself is clear, 0 to 1; absent without moulds.")
	descClearAt     = desc("firing_clear_timestamp_seconds", "When the moulds are expected to be as likely clear as the profile asks for, Unix time; absent when not within it.")
	descLogBytes    = desc("log_bytes", "Size of the log's file.")
)

// Describe implements prometheus.Collector.
func (c collector) Describe(ch chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{
		descTemperature, descSetpoint, descDuty, descClosed, descClosings, descEnergy, descFaults, descTripped, descLatched, descAsks, descDoor, descAlarm,
		descNotices, descPhase, descStep, descTicks, descOverruns, descReadAt, descCommitTime, descCommits, descFailures,
		descQueued, descWaiting, descLogBytes, descCore, descWater, descClear, descChance, descClearAt,
	} {
		ch <- d
	}
}

// scrape is one collection under way.
type scrape chan<- prometheus.Metric

func (s scrape) gauge(d *prometheus.Desc, v float64, labels ...string) {
	s <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, v, labels...)
}

func (s scrape) counter(d *prometheus.Desc, v float64, labels ...string) {
	s <- prometheus.MustNewConstMetric(d, prometheus.CounterValue, v, labels...)
}

// maybe shows nothing for nil: no number is better than an old one.
func (s scrape) maybe(d *prometheus.Desc, v *float64, labels ...string) {
	if v != nil {
		s.gauge(d, *v, labels...)
	}
}

// Collect implements prometheus.Collector.
func (c collector) Collect(ch chan<- prometheus.Metric) {
	st, log := c.m.station.Status(), c.m.log.Stats()
	c.m.mu.Lock()
	t := c.m.tally
	t.faults, t.notices = slices.Clone(t.faults), maps.Clone(t.notices)
	c.m.mu.Unlock()
	s := scrape(ch)
	s.kiln(st)
	s.firing(st)
	s.inside(st)
	s.counts(t)
	s.alarms(st, t, log)
	s.log(log)
}

func (s scrape) kiln(st station.Status) {
	s.maybe(descTemperature, st.ChamberC, "chamber", "hot")
	s.maybe(descTemperature, st.ColdC, "chamber", "cold")
	named := map[string]int{}
	for _, o := range st.Others {
		channel := o.Role
		if named[o.Role]++; named[o.Role] > 1 { // two of a name would be refused as one series
			channel = fmt.Sprintf("%s %d", o.Role, named[o.Role])
		}
		s.maybe(descTemperature, o.HotC, channel, "hot")
		s.maybe(descTemperature, o.ColdC, channel, "cold")
	}
	s.maybe(descSetpoint, st.SetpointC)
	s.gauge(descDuty, st.Duty)
	s.gauge(descClosed, number(st.Heat))
	if st.Door != "" {
		s.gauge(descDoor, number(st.Door != sensor.DoorShut.String()))
	}
}

func (s scrape) firing(st station.Status) {
	phase, step := record.Idle.String(), 0
	if st.Firing != nil && st.Firing.Phase != "" {
		phase, step = st.Firing.Phase, st.Firing.Step
	}
	for p := record.Idle; p <= record.Tripped; p++ {
		s.gauge(descPhase, number(p.String() == phase), p.String())
	}
	s.gauge(descStep, float64(step))
	s.gauge(descAsks, number(st.Firing != nil && st.Firing.Asks != ""))
	s.gauge(descLatched, number(st.Trip != nil))
}

func (s scrape) inside(st station.Status) {
	in := st.Inside
	if in == nil || st.Firing == nil {
		return
	}
	for _, f := range in.Flasks {
		s.gauge(descCore, f.CoreC, f.Name)
		s.gauge(descWater, f.WaterLeft, f.Name)
		s.gauge(descClear, f.Clear, f.Name)
	}
	s.gauge(descChance, in.Chance)
	if in.WantAtS != nil {
		start := st.Wall.Add(-time.Duration(st.Firing.SinceS * float64(time.Second)))
		s.gauge(descClearAt, float64(start.UnixMilli())/1000+*in.WantAtS)
	}
}

func (s scrape) counts(t tally) {
	s.counter(descTicks, float64(t.ticks))
	s.counter(descOverruns, float64(t.overruns))
	s.counter(descClosings, float64(t.closings))
	s.counter(descEnergy, t.energyJ)
	for i, name := range sensor.Names() {
		s.counter(descFaults, float64(t.faults[i]), name)
	}
	for _, n := range notice.All() {
		s.counter(descNotices, float64(t.notices[n.Code]), n.Code)
	}
	if !t.good.IsZero() {
		s.gauge(descReadAt, float64(t.good.UnixMilli())/1000)
	}
}

// goesOn are the alarms that end no firing.
var goesOn = map[string]bool{
	notice.LogBehind: true, notice.HeatLimited: true, notice.DoorOpen: true, notice.SteamFast: true, notice.InvertFast: true, notice.MainWelded: true,
}

// alarms shows every notice that lasts: those that end a firing or call for
// somebody at once, and the plan that waits.
func (s scrape) alarms(st station.Status, t tally, log storage.Stats) {
	tripped := ""
	if f := st.Firing; f != nil {
		tripped = f.Guard
	} else if st.Last != nil {
		tripped = st.Last.Guard
	}
	lasts := map[string]bool{
		notice.NoReading:  st.ChamberC == nil && !st.Wall.IsZero(),
		notice.LogBehind:  st.LogBehind || log.Err != nil,
		notice.OutputDead: st.OutputError != "",
		notice.HoldBack:   t.heldBack,
		notice.DoorOpen:   st.Door == sensor.DoorOpen.String() && st.Firing != nil,
	}
	for _, n := range notice.All() {
		if n.Severity == notice.Alarm && !goesOn[n.Code] {
			s.gauge(descTripped, number(n.Code == tripped), n.Code)
		}
		if n.Severity == notice.Alarm || n.Code == notice.HoldBack {
			s.gauge(descAlarm, number(lasts[n.Code] || n.Code == tripped), n.Code)
		}
	}
}

func (s scrape) log(l storage.Stats) {
	s <- prometheus.MustNewConstSummary(descCommitTime, l.Commits+l.Failures, l.CommitTotal.Seconds(), nil)
	s.counter(descCommits, float64(l.Commits))
	s.counter(descFailures, float64(l.Failures))
	s.gauge(descQueued, float64(l.Queued))
	s.gauge(descWaiting, l.Waiting.Round(time.Millisecond).Seconds())
	s.gauge(descLogBytes, float64(l.FileBytes))
}

func number(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
