// Package stat holds the statistics behind the drift engine, each checked
// against published values.
//
// The engine itself runs on EWMA (noise and swing of a lead) and Line (the
// forecast). Cusum, Kendall, TheilSen and LocalLevel are the usual methods for
// the same question; they stand here because the engine was measured against
// them, and so that whoever wants to try them again starts from tested code.
//
// Units are those of the data. Nothing here allocates but TheilSen.
package stat
