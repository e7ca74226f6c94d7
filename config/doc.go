// Package config turns a plant file into a validated Plant. It is strict:
// unknown keys, wrong units and impossible bus loads are mistakes, and all
// mistakes are reported at once, each with file:line:col, what is wrong and
// what to write instead.
//
//	plant.yaml ─┬─ keys (keys_*.go) ── drafts ─┐
//	index.csv ──┤  columns (columns.go) ───────┼─ resolve ── Plant, warnings
//	profiles ───┘                              └─ or Mistakes
//
// A key is defined once: its name, its grammar and where its value goes. The
// loader and the JSON Schema for editors (Schema) both come from that
// definition. A draft holds what was written with the place of every value;
// resolving fills in defaults, joins loops to links and profiles, and refuses
// what cannot work: a method without the wires it needs, a report level that
// the profile has no fields for, an interval that the bus cannot keep.
//
// # How YAML is read
//
// YAML libraries turn text into values by rules that surprise: 1.5 becomes the
// integer 1, 010 becomes 8, 1:30 a time, no a word or a flag depending on the
// version. Here every scalar is read as text by the grammar of its key:
//
//   - whole numbers are digits without leading zero, point, exponent,
//     underscore or 0x; only bit patterns of a profile may be written 0x8000
//   - numbers are decimal, with an exponent where wanted (1e-6); no .inf, no .nan
//   - flags are true or false, nothing else
//   - text that YAML takes for something else (1204, 010, yes, null, a date)
//     must be quoted
//   - lengths, gauges, times, resistances and temperatures carry their unit
//   - anchors, aliases, merge keys, tags and several documents in one file are
//     refused: "defaults" does their work in sight of the reader
//   - an empty value is a mistake: leave the key out instead
package config
