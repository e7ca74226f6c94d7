package config

import (
	"time"

	"ohmdrift/devices"
	"ohmdrift/diagnostics"
	"ohmdrift/diagnostics/measure"
)

// Plant is a validated configuration: everything the daemon needs, with every
// default filled in.
type Plant struct {
	Site   string
	Links  []Link
	Loops  []Loop
	Store  Store
	Influx *Influx // nil = not used
	Alerts Alerts
	Web    Web
	Hash   string // of all files read, secrets left out, hex SHA-256
	Files  []string

	Warnings Mistakes // what is probably not meant, but can be run
}

// Link is one Modbus connection.
type Link struct {
	Name        string
	URL         string // tcp://host:502, tcp+tls://…, rtu:///dev/…, rtuovertcp://…
	Baud        int    // of the serial line, also of one behind a gateway; 0 = none known
	DataBits    int
	Parity      string // none, even, odd
	StopBits    int
	Timeout     time.Duration
	Pause       time.Duration // silence between requests
	AfterDial   time.Duration // pause after connect
	SoleMaster  bool          // true: sole-master; false: shared
	MaxRequests float64       // ceiling of requests a second; 0 = none
	Quiet       []Window      // quiet windows, local time of day
	Second      string        // URL of a second path, empty = none
	TLS         *TLS
	Turnaround  time.Duration // what a unit or gateway needs to answer; for the bus load
	Load        BusLoad       // what the loops ask of it
}

// TLS holds file names of the certificates of a tcp+tls link.
type TLS struct{ CertFile, KeyFile, CAFile string }

// Window is a daily span of local time in minutes after midnight; From > To
// spans midnight.
type Window struct{ From, To int }

// Loop is one temperature measurement and where to read it.
type Loop struct {
	diagnostics.Spec
	Link      int // index into Plant.Links; −1 = none (index for replay)
	Unit      uint8
	Profile   *devices.Profile
	Base      uint16 // wire address of the loop's first register
	Interval  time.Duration
	Terminals []Terminal
	Place     Place // where it is defined
}

// Terminal is one terminal point of a lead's run.
type Terminal struct {
	Lead      measure.Lead
	Order     int
	Enclosure string
	Strip     string
	Terminal  string
}

// Place is a position in a file.
type Place struct {
	File      string
	Line, Col int
}

// Store is the embedded store.
type Store struct {
	Dir       string
	Retention time.Duration // of raw samples; 0 = for ever
}

// Influx is a server with the v2 write API.
type Influx struct {
	URL    string
	Org    string
	Bucket string
	Token  string // resolved from the environment or a file
	Batch  int    // points a call
}

// Alerts says where notices go besides the log.
type Alerts struct{ Webhook *Webhook }

// Webhook is one HTTP receiver of findings.
type Webhook struct {
	URL     string
	Token   string // sent as bearer token; resolved from the environment or a file
	Timeout time.Duration
}

// Web is the built-in page.
type Web struct{ Listen string } // host:port; empty = off
