// Package outbox tells people what happens in a kiln: it listens to the control
// loop without ever holding it up, keeps every message in the log before it is
// sent, sends it to each destination of calx.yaml when its rule says so, tries
// again while the network is down, and repeats an alarm until somebody
// acknowledges it. After a kill a message may be told twice; none is lost.
//
// What is told, and when, is decided in controller/tidings. Push, chat and web
// hooks go through a notification library; e-mail goes by mail.go.
//
// No address is ever printed, logged or returned in an error: it is a password
// as a rule.
package outbox
