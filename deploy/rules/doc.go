// Package rules holds the house rules of this repository as code, so that go
// test enforces them and a review need not. It parses the tree (no type
// checking, so it works on a tree that does not compile) and lists breaches,
// each with its place and with the reason of the rule.
//
//	Load(fsys) ─ Tree ─ Rule.Check ─ []Breach
//
// To add a rule: one file with its check, one line in Rules, one archive
// testdata/NAME.txtar that breaks it.
package rules
