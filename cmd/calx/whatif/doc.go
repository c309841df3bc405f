// Package whatif fires a plan on a simulated kiln without chips, pins or a
// log: the unchanged controller, a reading a period, and whatever is asked to
// go wrong. It answers what a firing would have been with another profile, a
// weaker element, a colder room or a power cut, and lays the answer over a
// record. It decides nothing for a real kiln.
package whatif
