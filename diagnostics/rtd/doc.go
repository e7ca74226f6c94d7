// Package rtd converts between the resistance and the temperature of
// resistance thermometers and knows their tolerance classes. Temperatures are
// ITS-90 in °C, resistances Ω, slopes Ω/K. A value outside a curve is an error,
// never an extrapolation.
//
// A designation is the metal, the nominal resistance and, after a hyphen, the
// temperature coefficient of the curve:
//
//	Pt100            platinum, IEC 60751 (the same as Pt100-3851)
//	Pt1000, Pt500    any resistance at 0 °C
//	Pt100-3911       GOST 6651-2009 "П";    Pt100-3911us is the older US set
//	Pt100-3916       legacy Japanese curve
//	Pt100-3920       US SAMA: a nominal 100 Ω is 98.129 Ω at 0 °C
//	Pt100-3926       old US laboratory platinum
//	Cu50, Cu100      copper, GOST 6651-2009 (-428); Cu100-426 is the older one
//	Cu10             copper, 10 Ω at 25 °C (-427), 9.035 Ω at 0 °C
//	Ni100            nickel, GOST 6651-2009 (-617); Ni100-618 is DIN 43760
//	Ni120            nickel by its table (-672)
//
// Without a coefficient the standard in force applies: IEC 60751 for platinum,
// GOST 6651-2009 for copper and nickel. DIN 43760 is withdrawn and differs from
// -617 by 0.06 Ω at 100 °C and far more above, so a nickel sensor deserves its
// coefficient. A sensor's name always shows it, except for IEC 60751.
//
// The curve of a standard describes an ideal sensor, the class says how far a
// real one may be away. IEC 60751 itself warns that below 0.1 °C an individual
// calibration and a better interpolation may be needed.
package rtd
