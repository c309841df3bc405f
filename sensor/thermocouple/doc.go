// Package thermocouple turns temperature into thermocouple voltage and back by
// the ITS-90 functions, for the letter types B, E, J, K, N, R, S and T, so that
// a reading means degrees on the international scale and carries an honest
// uncertainty.
//
// [Type.EMF] is the reference function E(t), the junction at t against a
// junction at 0 °C. [Type.Temperature] is its inverse: the published inverse
// polynomial, polished by Newton steps on the reference function until only
// rounding noise is left. Voltages are in millivolts, temperatures in °C.
//
// Below the inverse polynomials only the reference function is defined: types
// E, K, N and T reach down to -270 °C with EMF but to -200 °C with Temperature,
// and type B, whose voltage falls and rises again below 42 °C, has no usable
// inverse under 250 °C. [Type.Range] and [Type.InverseRange] give both.
//
// Every product is rounded before it is added, so a Raspberry Pi (where Go
// would otherwise use fused multiply-add) and a desktop machine give the same
// bits for the same input.
//
// Source of the coefficients: NIST ITS-90 Thermocouple Database, Standard
// Reference Database 60, version 2.0, which carries the functions of Burns et
// al., NIST Monograph 175 (1993); IEC 60584-1:2013 and ASTM E230 adopt the same.
// They are kept as published in testdata, with points of the printed tables.
package thermocouple
