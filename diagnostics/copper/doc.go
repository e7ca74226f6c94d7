// Package copper is the resistance of lead wire: by gauge (ASTM B258) or by
// cross-section (IEC 60228), by length and by temperature, for plain, stranded,
// tinned and nickel-plated copper and for constantan.
//
// A conductor is written as its size and then what is special about it:
//
//	22 AWG                    solid annealed copper, by the gauge formula
//	18 AWG stranded tinned    3 % for the lay of the strands, 3 % for the tin
//	0.5 mm2                   IEC 60228 class 2, plain
//	0.75 mm2 class 5 tinned   IEC 60228 class 5, metal-coated
//	0.34 mm2                  not in IEC 60228: by area, plus 3 % for the lay
//	24 AWG nickel 27%         nickel-plated, 27 % nickel by weight (ASTM B355)
//	20 AWG 97% IACS           copper of a lower conductivity
//	22 AWG constantan         lead of a high-temperature sensor
//	36 ohm/km                 as measured or catalogued
//
// Lengths are m, resistances Ω, temperatures °C. The values of IEC 60228 are
// maxima: real conductors lie a few percent below (common practice). Neither
// says how much the conductors of one cable differ; that is the spread, an
// assumption to be stated or measured.
package copper
