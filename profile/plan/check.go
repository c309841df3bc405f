package plan

func (k *maker) check() error { return nil }
