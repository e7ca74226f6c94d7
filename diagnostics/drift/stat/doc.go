// Package stat holds the statistics behind the drift engine, each checked
// against published values.
//
// The engine itself runs on EWMA (noise and swing of a lead) and Line (the
// forecast). Cusum with its run lengths, EWMALimit, Kendall, TheilSen and HamedRao
// are the second opinion beside what --explain draws: textbook statistics that
// decide nothing, for an engineer to compare with. That an EWMA is a local-level
// filter in its steady state is shown in a test.
//
// Units are those of the data. EWMA, Cusum and Line allocate nothing.
package stat
