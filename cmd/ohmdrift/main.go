// Command ohmdrift watches the wiring of resistance thermometers: it polls
// transmitters over Modbus, computes what the leads do to each reading and says
// which terminal is failing. See ohmdrift --help.
package main

import "os"

func main() { os.Exit(execute(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) }
