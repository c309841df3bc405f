package plan

func (k *maker) explain(p *Plan, w *walk) { p.Reasons = make([]Reason, len(p.Profile.Steps)) }
