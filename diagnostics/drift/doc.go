// Package drift tells a dying contact from everything else that moves a lead: a
// streaming engine per loop, and a plant level that joins the loops of a box.
//
// # What it does with a sample
//
//	sample ─ sort values ─ open circuit? ─ excursions, noise of pairs, resolution
//	   └ slot (10 min, median) ─ copper factor f ─ error by hour and by day ─ heat on one core
//	        └ block (6 h) ─ contact part u of each lead ─ level of two days
//	              ├ work?      jumps of f, exchanged, restored, healing leads: info, learnt
//	              ├ wiring?    a lead far shorter than the others
//	              ├ filter?    noise of all pairs steps at once and stays: info, learnt
//	              ├ shunt?     noise of all pairs of leads at once
//	              ├ contact?   level, swing, excursions, noise, slow fall
//	              └ forecast   every course of growth that fits
//
// While somebody works at the loop (a function check, check.go) nothing of this is
// done; its end is the end of a gap in the values.
//
// # Copper and contact
//
// A lead is r = f·base + a + b·(f − 1) + u. The copper factor f is common to the
// leads of a cable: 0.393 % a kelvin (IEC 60028), so ±8 K a day move a 5 Ω lead
// by ±160 mΩ, and a contact that matters adds 10. base, a and b belong to the
// lead: its length, terminals that do not follow the copper, sun or a hot line
// on one core; they are learnt in three weeks, and what a core has of a season
// of its own in two months (season.go). What is left, u, stays within 1 mΩ for
// months in a sound loop but for hours in which a hot line warms one core: those
// are known by their soft flanks and left out (heat.go). Contacts only ever add resistance, so f is
// what the lower leads say: the mean of those that agree with the second lowest
// of three or four, the lower of two (unless it fell faster than copper can, or the
// neighbours say that the other one moved), a
// single sum takes its neighbours' factor, or that of its transmitter's temperature. A lead known to be bad takes part
// with its contact taken off, so that the second to fail is seen as well; of two
// it is left out once it is far away, for damp in it would pass for copper.
//
// # What is called a finding
//
// A level of two days (median of eight blocks) above a threshold for 18 hours, or
// that of 18 hours clearly above it. The threshold is the largest of 2.2 mΩ, a few
// times the block-to-block scatter and the largest swing of the baseline, the
// resolution, a share of the lead, and a share of what would move the reading by its
// limit; what the season did since the baseline counts as far as the weather has not
// told yet what each core has of it; see level.go, each with its reason. What climbs
// through two days without a rest is told at once (climb.go). One lead a little higher
// and another as much lower wait for more (balanced.go). A rise that came at once is
// watched for two and a half days, since
// terminals settle after work by tens of mΩ (they fall); half a day must do when
// most of the limit is gone. Then the kind:
//
//   - excursions that return within two polls: lead-intermittent. A bad register
//     looks alike, so what the sensor value says and how common bad values are
//     on this loop make odds (odds.go): two that it shows on two days will do, or that
//     it cannot show on a bus without bad values; one on a lead that slowly rose
//     before, or one that is large, alone in its hour and right in the sensor value
//     (plain.go). A count alone must go on for longer than a visit;
//   - swing with the cable's temperature, or daily: lead-thermal;
//   - movement in a constant proportion to the temperature difference of head and
//     box, as of a thermocouple, or a slow fall below copper: thermal-emf. No
//     contact falls below zero, none knows the process;
//   - ups and downs over days: lead-moisture; one jump: lead-step, unless it goes
//     with the cable's temperature as so much copper does, for then the lead was made
//     longer (splice.go); scatter of single values on one lead: lead-noise; else
//     lead-drift;
//   - noise on all pairs of leads at once, in a chart of three days or one of ten:
//     insulation-leak. A shunt is no lead's; one that has not grown in a fortnight is
//     another filter, and learnt (flat.go);
//   - a lead under a third of its neighbours, or of what it was in the baseline while
//     another is as long as ever: not-four-wire, or lead-short. It has no say in the
//     copper factor.
//
// A step, drift or voltage that has stood still for four weeks with most of its limit
// left becomes information until it moves again (still.go).
//
// Nothing is named that cannot be seen: sums of leads name none, pairs never a1. Which
// of two leads moved, the copper of the neighbours tells: the middle of both went half of
// the way with it, up or down (witness.go). So a voltage that pulls one down does not name
// the other. Where nobody tells, it is the one that rose. Of
// a pair, what rose from far below the other did not rise: the other lost a contact
// (work.go); and so it did where what rose at once stayed in Ω while the other fell by
// more than weather cools (otherfell.go). Of a voltage the lead is named that moves with
// the process, none where both do (voltage.go).
// A lead that is not reported shows in the sensor value: where that leaves a calm
// value and returns within two polls, to the side the lead moves it, in several
// blocks of ten days and more often than in the baseline, it is lead-intermittent
// without a lead (sensor.go). Where several sensors sit at the same place, readings
// less the errors that leads are seen to make are compared while all stand still:
// what leaves its partners has an element that drifts, a lead that is not
// reported, or a shunt (partner.go). Of a single sum the neighbours in the box tell the
// copper, to 8 K and one and a half times what the season did since the baseline
// (level.go); without neighbours the temperature of the transmitter does, if it went
// with the sum in the baseline; without either nothing is said about its level. Where not two lead values are reported, six hours
// of telegrams without any value are lead-open (open.go).
//
// # Forecast
//
// A loop leaves its limit when its error is beyond it for 5 % of a day; daily
// shares of the limit exceeded in 5 % of the slots are kept for five weeks.
// Straight lines, powers of time, exponentials, hyperbolas and the shrinking
// contact spot (R ∝ 1/a, Holm) are fitted; what noise adds in the baseline is
// taken off. Each is carried forward with the weight of its fit to the first day
// that scatter lifts over the limit; quantiles of these moments are the forecast,
// stretched on a logarithmic scale until 80 % intervals cover 80 % on simulated
// plants. For a lead that comes and goes it is the share of polls in an excursion
// that grows, by a factor a day that a fast and a slow count tell; of level and
// excursions the earlier counts. Where days are of two kinds, as with shifts and
// weekends, the worst of each week is carried forward. A shunt has no size that
// the leads show: its forecast rests on how fast its noise grows (leak.go). A loop
// that has left its limit is past it until it is back below 85 %. Of a single excursion
// nothing is known but that it was the first: the interval says so. What rises in a
// four-wire loop without a lead limit is a contact, which causes no error, or a voltage,
// which does: one chance in ten, and otherwise never.
//
// # What it cannot do
//
// From pairs, sums and the reading alone, a contact that grows steadily in a lead
// that is not reported looks like a warmer or colder process: nothing is said
// until it makes excursions or opens. A shunt in the element is
// seen by its noise, shortly before the limit; one that comes at once and stays
// looks like another filter of the device. A hot line whose heat stays for more
// than half a day, or moves with the process, looks like a loose contact; so
// does a core whose season is its own when it lags the cable's by weeks or the
// cable itself has none. Of two leads without neighbours a fall of one is the same as a
// rise of the other, and a small step of one up as one
// of the other down; only growth counts there.
//
// Sources: R. Holm, Electric Contacts (constriction resistance); fretting tests
// in IEEE Trans. CPT 24(3), 2001, 370–377 (a long flat phase, a slow rise, short
// discontinuities on top); IEC 60028 and Dellinger 1911 (copper); IEC 60947-7-1
// (what a terminal may have); NIST/SEMATECH e-Handbook 6.3 (EWMA).
//
// Errors are indicated − true in °C, resistances Ω. Time comes with the samples;
// nothing here has a clock, does I/O or looks ahead.
package drift
