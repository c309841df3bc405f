// Package rerun derives a firing again from its log: the controller as it was
// configured, the inputs of every tick as they were recorded, and the outputs,
// which must come out bit for bit. It opens no log and prints nothing.
package rerun
