// Package web is the page that kartwright serves to a phone or a laptop. It
// decides nothing: what it shows comes from the same functions as the command
// line's answers, and every page is a plain document that works without
// JavaScript. Its Handler makes no request of its own and needs no network, so
// that the same pages also come out of a single file (see package page).
package web
