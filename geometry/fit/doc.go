// Package fit learns numbers from readings by least squares.
//
// Linear and Nonlinear are general: a straight line through measured points, or
// any function of named parameters, with the spread of the readings given or
// estimated, and with what was known before as a prior. Fit and Next put them
// to work on a kart: the dimensions of its front end from a table of adjuster
// settings and what was measured at each, and the reading that would teach
// most.
//
// A spread is always one standard deviation (the standard uncertainty of JCGM
// 100:2008), called SD on the way in and out. Interval turns it into a ± that
// holds with a stated probability.
//
// What may be doubted about a fit travels beside it as Warnings; an error means
// that there is no answer.
package fit
