// Package example is the invented Larkfield site: about 60 temperature loops of
// every wiring, method and report level over 6 Modbus links and three junction
// boxes, with the register maps of its transmitters. It is what ohmdrift demo
// runs, what the manual quotes and a plant file to start from.
package example

import "embed"

// Main is the name of the plant file in Files.
const Main = "larkfield.yaml"

// Files holds the plant file and every file that it names.
//
//go:embed larkfield.yaml instruments.csv terminals.csv profiles/*.yaml
var Files embed.FS
