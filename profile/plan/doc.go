// Package plan works a profile out of moulds, a kiln and a pour time: the
// shortest one found that keeps every limit of the mould, with a reason beside
// each step. It exists so that nobody has to guess a burnout from the size of
// the flask. It promises nothing about the casting: its figures are those of
// sim/mould, whose weakest are how oxygen and steam pass the wall.
//
// # Method
//
// A plan is found in four passes, all on the model:
//
//   - March: the chamber rises step by step, each time by the most after which
//     it could still stop and hold without passing a limit. This is the curve
//     no sentence could write; it tells where a plan is slow, and why.
//   - Fit: the march becomes a few sentences: to the steam hold, hold until
//     dry, three ramps, hold until clear, cool to the pour temperature.
//   - Search: rates and break points move, one at a time, as long as the whole
//     gets shorter and every limit is kept; on a coarse grid.
//   - Verify: the sentences run once more on the full grid; a ramp that passes
//     a limit there is slowed until it does not.
//
// When the pattern will be clear is uncertain, above all because of the air.
// So the hold at the top is as long as the chance asked for needs, by a Monte
// Carlo over oxygen access, char kinetics, section and conductivity.
//
// Start with [Make]; [Helps] tells what would make a plan shorter, [WashOut]
// plans what follows when the ash is to be washed out.
package plan
