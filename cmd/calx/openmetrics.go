package main

import (
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"calx/sensor"
	"calx/storage/record"
)

// writeOpenMetrics writes a firing as OpenMetrics text (specification 1.0.0),
// ready for promtool tsdb create-blocks-from openmetrics. Names and labels are
// those of /metrics, with the number of the firing in the label firing. The
// time of a sample is the start of the firing, as the clock saw it at the end,
// plus the time since by the clock that never jumps: so time rises, as the
// format demands, on a board that began with the wrong date. A value that does
// not exist has no sample.
func writeOpenMetrics(w io.Writer, f *firing) error {
	m := metricsText{w: w, f: f, start: f.began()}
	m.temperatures()
	m.family("calx_setpoint_celsius", "gauge", "celsius", "What the chamber should have.")
	m.series("", nil, func(r *record.Reading) float64 { return r.SetpointC })
	m.family("calx_duty_ratio", "gauge", "ratio", "Share of full power asked for, 0 to 1.")
	m.series("", nil, func(r *record.Reading) float64 { return r.Duty })
	m.family("calx_relay_closed", "gauge", "", "1 while the heat relay is commanded on.")
	m.series("", nil, func(r *record.Reading) float64 { return truth(r.Relay) })
	m.family("calx_heater_energy_joules", "counter", "joules", "Energy of the heater, from its rated power and the time the relay was commanded on; not measured.")
	m.series("_total", nil, func(r *record.Reading) float64 { return r.EnergyJ })
	m.family("calx_firing_step", "gauge", "", "Step of the profile, from 1.")
	m.series("", nil, func(r *record.Reading) float64 { return float64(r.Step) + 1 })
	m.phases()
	m.inside()
	m.faults()
	m.line("# EOF\n")
	return m.err
}

// metricsText writes families one after the other; the first error stays.
type metricsText struct {
	w     io.Writer
	f     *firing
	start time.Time
	name  string // of the family
	err   error
}

func (m *metricsText) line(s string) {
	if m.err == nil {
		_, m.err = io.WriteString(m.w, s)
	}
}

func (m *metricsText) family(name, kind, unit, help string) {
	m.name = name
	m.line("# TYPE " + name + " " + kind + "\n")
	if unit != "" {
		m.line("# UNIT " + name + " " + unit + "\n")
	}
	m.line("# HELP " + name + " " + escape(help) + "\n")
}

// label is one label of a series.
type label struct{ name, value string }

// series writes one sample a reading, but none for what is not a number.
func (m *metricsText) series(suffix string, labels []label, value func(*record.Reading) float64) {
	labels = append([]label{{"firing", strconv.FormatUint(m.f.head.ID, 10)}}, labels...)
	parts := make([]string, len(labels))
	for i, l := range labels {
		parts[i] = l.name + `="` + escape(l.value) + `"`
	}
	head := []byte(m.name + suffix + "{" + strings.Join(parts, ",") + "} ")
	line := head
	for i := range m.f.readings {
		r := &m.f.readings[i]
		v := value(r)
		if math.IsNaN(v) || math.IsInf(v, 0) {
			continue
		}
		line = strconv.AppendFloat(line[:len(head)], v, 'g', -1, 64)
		line = append(line, ' ')
		line = appendSeconds(line, m.start.Add(r.Since))
		m.line(string(append(line, '\n')))
	}
}

// appendSeconds appends Unix seconds with milliseconds.
func appendSeconds(b []byte, t time.Time) []byte {
	return fmt.Appendf(b, "%d.%03d", t.UnixMilli()/1000, t.UnixMilli()%1000)
}

// escape is what label values and help texts need.
func escape(s string) string {
	return strings.NewReplacer(`\`, `\\`, "\n", `\n`, `"`, `\"`).Replace(s)
}

func (m *metricsText) temperatures() {
	m.family("calx_temperature_celsius", "gauge", "celsius", "Temperature of a junction; absent while its thermocouple has a fault.")
	for i, c := range m.f.head.Channels {
		sample := func(r *record.Reading) record.Sample {
			if i < len(r.Channels) {
				return r.Channels[i]
			}
			return record.Sample{HotC: math.NaN(), ColdC: math.NaN()}
		}
		m.series("", []label{{"channel", c.Role}, {"junction", "hot"}}, func(r *record.Reading) float64 { return sample(r).HotC })
		m.series("", []label{{"channel", c.Role}, {"junction", "cold"}}, func(r *record.Reading) float64 { return sample(r).ColdC })
	}
}

// phases writes those that occurred.
func (m *metricsText) phases() {
	seen := [record.Tripped + 1]bool{}
	for _, r := range m.f.readings {
		if int(r.Phase) < len(seen) {
			seen[r.Phase] = true
		}
	}
	m.family("calx_firing_phase", "gauge", "", "1 for what the firing is doing, 0 for the rest.")
	for p, was := range seen {
		if was {
			phase := record.Phase(p)
			m.series("", []label{{"phase", phase.String()}}, func(r *record.Reading) float64 { return truth(r.Phase == phase) })
		}
	}
}

// inside writes what the model had for the moulds, and their chance.
func (m *metricsText) inside() {
	names := mouldNames(m.f.head)
	if len(names) == 0 {
		return
	}
	of := func(name, unit, help string, value func(record.Inside) float64) {
		m.family(name, "gauge", unit, help)
		for i, n := range names {
			m.series("", []label{{"flask", n}}, func(r *record.Reading) float64 {
				if r.Moulds() != len(names) {
					return math.NaN()
				}
				return value(r.Mould(i))
			})
		}
	}
	of("calx_mould_core_celsius", "celsius", "Core of a mould, by the model on the measured chamber.", func(i record.Inside) float64 { return i.CoreC })
	of("calx_mould_water_ratio", "ratio", "Free water left in a mould, share of that at the start, by the model.", func(i record.Inside) float64 { return i.WaterLeft })
	of("calx_mould_clear_ratio", "ratio", "Share of what has to burn in a mould that is gone, by the model.", func(i record.Inside) float64 { return i.Clear })
	m.family("calx_firing_clear_chance_ratio", "gauge", "ratio", "Chance that every piece by itself is clear, 0 to 1.")
	m.series("", nil, func(r *record.Reading) float64 {
		if r.Moulds() != len(names) {
			return math.NaN()
		}
		return r.ClearChance()
	})
}

// faults counts, for every fault that occurred, the readings that carried it.
func (m *metricsText) faults() {
	m.family("calx_sensor_faults", "counter", "", "Readings that carried this fault, all thermocouples together.")
	for i, name := range sensor.Names() {
		carries := func(r *record.Reading) (n int) {
			for _, s := range r.Channels {
				if s.Fault&(1<<i) != 0 {
					n++
				}
			}
			return n
		}
		any := 0
		for j := range m.f.readings {
			any += carries(&m.f.readings[j])
		}
		if any == 0 {
			continue
		}
		count := 0
		m.series("_total", []label{{"fault", name}}, func(r *record.Reading) float64 {
			count += carries(r)
			return float64(count)
		})
	}
}

func truth(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
