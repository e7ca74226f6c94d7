// Package plant simulates temperature transmitters on a real Modbus/TCP server.
//
//	process ─ element ─┬─ leads (copper at its own temperature + contacts) ─┐
//	                   └─ faults                                            │
//	registers ─ profile ─ resolution, noise ─ input method of the device ◄──┘
//
// The physics is that of a plant: a process temperature by service, the sensor
// curve, conductors that follow weather, sun, season and hall, contacts that
// age by growth laws, and an input method that leaves part of the leads in the
// reading. What the transmitter reports of that (each lead, pairs, loops, or the
// reading alone) goes through the loop's profile, with the step of its registers.
//
// # One continuous story
//
// The state of a loop at time t is a pure function of (seed, tag, t) and of the
// faults that stand at t: nothing is accumulated. The recorded past that Past
// yields and the live registers that Serve shows are therefore two windows on
// the same story, and any moment can be computed alone. A transmitter renews
// its values once a device cycle; within one cycle every request sees the same
// values.
//
// Config.Speed makes contacts age faster after Config.Start: an age counts
// (t − Start)·Speed from then on. Weather, process and the device's own cycle
// keep real time, and so does whoever polls.
//
// # Faults
//
// The seed chooses about one loop in five to be bad, in several ways (seeded.go
// lists them); Degrading tells which, Truth gives leads, contacts and the reading
// error as they really are. Command adds a fault to a running loop, Repair ends
// all that stand. Story builds a small plant around one kind of fault.
//
// # What it is not
//
// The circuit is solved here from the currents in each lead, not with package
// wiring, and contacts grow by the laws written in growth.go, not by those of a
// detector: a simulator that shared code with what it tests would agree with its
// mistakes. Resistances are Ω, temperatures °C, errors indicated − true.
package plant
