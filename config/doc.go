// Package config turns YAML and CSV files into a validated Plant. It is strict:
// unknown keys, wrong units and impossible bus loads are mistakes, and all
// mistakes are reported at once, each with file:line:col, what is wrong and
// what to write instead.
package config
