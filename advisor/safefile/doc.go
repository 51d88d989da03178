// Package safefile changes a file that several programs may change at the same
// time: it is written whole or not at all, and who changes it holds it alone.
package safefile
