// Package rulesets holds the rule files that come with kartwright.
//
// Each NAME.toml has a NAME.test.toml beside it, with situations and the advice
// that is expected for them. A club that wants other advice writes a file of its
// own that extends Default and changes, switches off or adds rules.
package rulesets

import "embed"

// FS holds the rule files and their test files, all in its root.
//
//go:embed *.toml
var FS embed.FS

// Default is the file that loads the whole set: it extends all others.
const Default = "shipped.toml"
