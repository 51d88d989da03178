// Package learn says how far what happened at the track bears out a rule.
//
// An outcome is a number from 0, the change did not help, to 1, it helped. A
// rule starts with its author's confidence, worth a few outcomes, and every
// outcome of advice that rested on it moves the belief (Beta-Bernoulli). What
// happened on other karts and to other people counts for less, what is long
// ago fades. The learned factor only ever lowers a rule's confidence.
//
// The package reads no files and no clock, and the order in which evidence
// comes never matters: sums are kept as integers.
package learn
