// Package balance leads through a cylinder cut test: at warm idle one injector after the other is unplugged for a few
// seconds, and the cylinder whose cut slows the engine least is the one that gives little work.
//
// Idle control fights the fall and wins within seconds, so the first seconds without the cylinder are measured against the
// first seconds with it again. How far such a difference goes by itself is measured too: the same windows are laid over
// the idle in which nothing was cut, and the spread of what they show is the error of a fall, whatever the idle's own
// wander and its correlation. Falls are compared with their median, never with a fixed number; a cylinder under half of it for sure
// gives little work, one that may be is cut again.
//
// The package has no clock, screen or port: it is fed with samples and with what somebody confirmed, each with its time.
package balance
