// Package uncertainty combines independent errors into one expanded
// uncertainty (JCGM 100, the GUM) and turns it into the probability that a
// value is over a limit (JCGM 106).
//
//	var b uncertainty.Budget
//	b.Rect(0.005)      // data sheet limit ±5 mΩ
//	b.Normal(0.001)    // standard uncertainty 1 mΩ
//	u, k := b.Standard(), b.Coverage()   // U = k·u covers 95 %
//
// The common k = 2 is right for a normal sum with many degrees of freedom. A
// sum that one data sheet limit dominates is nearly rectangular: its 95 %
// interval has k = 1.65, and k = 2 would cover all of it. So k follows the
// kurtosis of the mix: the symmetric Pearson distribution with the same
// variance and kurtosis (type II, a beta distribution) gives the 97.5 %
// quantile. It runs from 0.95·√3 for one rectangle over 1.90 for two equal
// ones to 1.96 for a normal sum. Components with few degrees of freedom widen
// it by Student's t at the Welch–Satterthwaite degrees of freedom, which is an
// approximation: with two degrees of freedom beside other components it covers
// 92.6 % rather than 95.
//
// Values have the unit of the components. Nothing here allocates.
package uncertainty
