// Package devices speaks Modbus: links, requests, register maps (profiles) and
// the quality of what comes back. It reads and never writes.
//
//	Ask ─ Conn ─ codec (library) ─ wire: guard, framing ─ socket, TLS or serial port
//	Reading ─ Decoder (Profile) ─ register bytes ─────────┘
//
// What may leave is decided at the last moment, on the bytes: function 03, 04
// and, where a profile says that the device has a name plate, 43/14 (guard.go).
//
// Serial frames carry no transaction id, so a late answer looks like the answer
// to the next request. The wire hands back only a frame of the unit, function
// and length that were asked for, and a Conn asks a unit only for a length that
// no late answer of it can have (stale.go). Where a unit has one register and
// no more, it is left alone until nothing can come any more.
//
// Values are in canonical units: Ω, °C, V. Addresses are wire addresses, from 0.
// What a device does not report is NaN. From a Modbus/TCP answer a flipped bit
// in a value cannot be seen; serial frames have a CRC.
//
// Serial ports are supported on Linux.
package devices
