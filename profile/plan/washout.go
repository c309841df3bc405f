package plan

// WashOut plans what follows a burnout whose ash is to be washed out.
func WashOut(in Input) (*Plan, error) { return Make(in) }
