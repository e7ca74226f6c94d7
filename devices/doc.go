// Package devices speaks Modbus: links, requests, register maps (profiles) and
// the quality of what comes back. It reads and never writes: functions 03 and
// 04 only, and no other function can leave a connection of this package.
package devices
