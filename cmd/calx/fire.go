package main

import (
	"fmt"
	"path/filepath"
	"strings"
	"time"

	"calx/cmd/calx/station"
	"calx/controller/resume"
	"calx/profile"
)

type fireCmd struct {
	Profile string   `arg:"" help:"Profile file, or the name of a shipped profile."`
	Mould   []string `help:"What stands in the kiln: mould file, or the name of a shipped mould; once for each kind. A thermocouple with the role witness 1 is taken to sit in the core of the first." sep:"none" placeholder:"FILE"`
	After   string   `name:"after-power-cut" help:"What to do after a power cut: go-on-if-short (goes on by itself when less than 30 °C were lost, else waits for you), go-on, ask or end. Otherwise what calx.yaml says, else go-on-if-short." placeholder:"WHAT"`
	Name    string   `help:"What to call the firing; otherwise the name of the file." placeholder:"TEXT"`
	Watch   bool     `help:"Follow it until it ends; exit code 0 only if it finished by plan."`
	Anyway  bool     `help:"Fire even if this kiln can never finish the profile."`
	daemonFlag
	jsonFlag
	unitsFlag
}

// fireResult is the object that --json writes: the number of the firing, and
// what is worth knowing about it beforehand. With --watch it is followed by
// one Status a line.
type fireResult struct {
	ID       uint64   `json:"id"`
	Name     string   `json:"name"`
	TotalS   float64  `json:"total_s"`    // as written
	Expected *float64 `json:"expected_s"` // with this kiln; null when the kiln file is not at hand
	Problems []string `json:"problems"`   // what this kiln cannot do as written
}

func (c *fireCmd) Run(e *env) error {
	if _, err := resume.ParsePolicy(c.After); err != nil {
		return usageError{fmt.Errorf("--after-power-cut: %w", err)}
	}
	cl, err := c.client()
	if err != nil {
		return err
	}
	p, err := readProfile(c.Profile)
	if err != nil {
		return fmt.Errorf("nothing was started: %s cannot be fired as it stands\n%w", c.Profile, err)
	}
	moulds, err := loadMoulds(c.Mould)
	if err != nil {
		return fmt.Errorf("nothing was started\n%w", err)
	}
	st, err := cl.status(e.ctx)
	if err != nil {
		return err
	}
	o := profile.Outlook{StartC: 20, Start: time.Now()}
	if st.ChamberC != nil {
		o.StartC = *st.ChamberC
	}
	k, err := c.kilnHere(st.Kiln)
	if err != nil {
		return err
	}
	if k != nil {
		o = k.outlook(o)
		if err := k.expect(moulds, p.prof, &o, ""); err != nil {
			return fmt.Errorf("nothing was started\n%w", err)
		}
	}
	t := profile.Unroll(p.prof, o)
	res := fireResult{Name: c.Name, TotalS: t.Total.Seconds(), Problems: problemTexts(t.Problems)}
	if k != nil {
		v := t.Expected.Seconds()
		res.Expected = &v
	}
	if t.Stuck && !c.Anyway {
		return fmt.Errorf("%s cannot be finished on this kiln; nothing was started\n  %s\nchange the profile, or fire it nonetheless with --anyway", c.Profile, strings.Join(res.Problems, "\n  "))
	}
	if res.Name == "" {
		base := filepath.Base(c.Profile)
		res.Name = strings.TrimSuffix(base, filepath.Ext(base))
	}
	var started struct {
		ID uint64 `json:"id"`
	}
	if err := cl.post(e.ctx, "/api/firings", station.Request{Name: res.Name, Profile: p.sentences, Moulds: mouldTexts(moulds), AfterCut: c.After}, &started); err != nil {
		return fmt.Errorf("nothing was started: %w", err)
	}
	res.ID = started.ID
	if c.JSON && !c.Watch {
		return e.writeJSON(res)
	}
	if !c.JSON {
		c.tell(e, res, t)
	}
	if c.Watch {
		return follow(e, cl, watching{json: c.JSON, units: c.unitsFlag, until: started.ID})
	}
	return nil
}

// kilnHere is the kiln of the configuration at hand, if it is the one that the
// daemon fires: checked against another, a profile would be misjudged.
func (c *fireCmd) kilnHere(served string) (*oven, error) {
	if c.At != "" {
		if k, err := openOven(served); err == nil {
			return k, nil
		}
		return nil, nil
	}
	conf, err := c.load()
	if conf == nil && err == nil {
		if k, err := openOven(served); err == nil {
			return k, nil
		}
	}
	if conf == nil {
		return nil, err
	}
	k, err := configuredOven(conf)
	if err != nil || served != "" && k.p.Name != served {
		return nil, err
	}
	return k, nil
}

// tell says what began and what to do next.
func (c *fireCmd) tell(e *env, res fireResult, t *profile.Timeline) {
	d, by := t.Total, "as written"
	if res.Expected != nil && !t.Stuck {
		d, by = t.Expected, "with this kiln"
	}
	e.printf("firing %d %q has begun: %s %s, until about %s\n", res.ID, res.Name, hours(d), by, time.Now().Add(d).Format("Mon 15:04"))
	for _, p := range res.Problems {
		e.printf("  note: %s\n", p)
	}
	if !c.Watch {
		e.printf("  calx watch   follow it\n  calx stop    end it; the heat goes off at once\n")
	}
}

func problemTexts(ps []profile.Problem) []string {
	out := make([]string, len(ps))
	for i, p := range ps {
		out[i] = p.String()
	}
	return out
}
