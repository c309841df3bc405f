// Package law is the control law: from the measured chamber temperature and
// the plan of the next half hour to a duty between 0 and 1.
//
// It is a linear-quadratic tracking law with preview on a small model of the
// kiln, and it does what a well-dressed PID controller does, each part in the
// place where the model puts it:
//
//   - feed-forward: the duty that balances losses and the duty that climbs the
//     slope come from the model, and corners are rounded before they are
//     reached because the plan ahead is an input (preview);
//   - proportional and derivative action: feedback of the estimated state,
//     which is the filtered temperature and what is already on its way in hot
//     elements, estimated from the measurement and never from the setpoint;
//   - integral action: an estimate of the duty that the model leaves
//     unexplained (mains, moisture, a burning pattern, an aged element), so a
//     wrong model costs accuracy for a while and not an offset for ever;
//   - gain schedule: lags and gains are tabled over temperature, since
//     radiation makes a hot kiln several times quicker than a cold one;
//   - anti-windup: the law remembers the duty that was applied, not the one it
//     wished for, so a saturated kiln leaves nothing to unwind.
//
// The law refuses to be a safety device: it trusts its input. Guards stand
// beside it (package guard).
//
// Sources: preview tracking and the algebraic Riccati equation as in Anderson
// and Moore, Optimal Control: Linear Quadratic Methods (1990), chapters 3 and
// 4; doubling for the Riccati equation as in Chu, Fan, Lin and Wang, Int. J.
// Control 77 (2004) 767; disturbance estimate and saturation as in Åström and
// Hägglund, Advanced PID Control (2006), chapters 3 and 5 (from memory).
package law
