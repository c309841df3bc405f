package plan

func (k *maker) fix(p *Plan) error { return nil }
