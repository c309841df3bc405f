// Package pieces answers "how long until it is clear?" from test pieces that
// were pulled out and broken open, and says how sure it is. Before the first
// piece the answer is that of the burnout physics; every pull moves it; after
// many, the pieces alone decide.
//
// # The model
//
// Time to clear is an accelerated-failure-time model with lognormal scatter.
// At a steady pattern temperature T
//
//	log t = a + n log(d/10 mm) + (E/R)(1/T - 1/973.15 K) + σε,  ε ~ N(0, 1)
//
// with t in minutes and d the section. A firing is not steady: its history is
// first reduced to equivalent minutes at 700 °C (see [Equivalent]), with a gate
// that counts nothing while the pattern is too cold for its char to burn.
//
// A broken piece never shows the time to clear, only an interval that holds it:
// charred says later, clear says earlier, a core of char says later but not
// much. Such interval-censored likelihoods are standard; Finkelstein & Wolfe,
// Biometrics 41 (1985) 933 is the data set this one is checked on. Each look is
// taken for a slip of the eye or the label with a small probability, so that
// one piece cannot overrule all others. Each [Kind] of casting has its own a,
// and all are tied by a prior that shrinks them together: a twig informs the
// next pod. Pieces of one named firing share an error of air and temperature.
//
// # The method
//
// [Fit] finds the mode of the posterior, its curvature, and then draws 6000
// points around it from a heavier-tailed distribution and weighs each by the
// exact posterior: importance sampling, which is Laplace's approximation with
// its error removed. The effective share of the draws tells how far to trust
// it; where it is low the centre moves to where the weight is, and at last a
// grid takes its place. Seeds are fixed: the same pulls give the same answer.
//
// For most uses: [DefaultPrior], [Fit], then [Posterior.Hold] and
// [Posterior.Explain].
//
// # Limits
//
// A piece that clears in less than about an hour (thinner than 6 mm in most
// moulds) waits for heat, not for air; one set of equivalent minutes then does
// not carry over from one schedule to another. And P(clear) is about char: ash
// that stays in the mould is another matter. A test piece may be pulled for
// knowledge, a casting not: candidates for [Posterior.Next] are test pieces.
package pieces
