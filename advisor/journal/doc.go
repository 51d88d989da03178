// Package journal keeps what happened to karts: how they were set, who drove
// where on what, what the driver said, what was advised, what was done about
// it and how it turned out.
//
// A journal is one SQLite file. Entries are written once and never changed;
// one that was wrong is struck out by another entry. Each has an ID taken from
// its content, so that journals can be copied, exported and merged as often as
// one likes and nothing counts twice.
//
// An entry that was acknowledged survives a crash of the program or the
// machine (rollback journal, synchronous=EXTRA), and several programs may use
// the same file at once. The file is all there is: a copy of it is a copy of
// the journal.
package journal
