package config

import (
	"fmt"
	"regexp"
	"strconv"
	"time"

	"ohmdrift/devices"
)

func linkKeys() []key[linkDraft] {
	return []key[linkDraft]{
		of("name", "name that loops use", text().node(), func(l *linkDraft) *given[string] { return &l.name }).must("skid-1"),
		of("url", "tcp://host:502, tcp+tls://host:802, rtu:///dev/serial/by-id/…, rtuovertcp://host:port", linkURL().node(), func(l *linkDraft) *given[string] { return &l.url }).must("tcp://10.0.4.7:502"),
		of("baud", "of the serial line, also of one behind a gateway", whole(300, 4_000_000).node(), func(l *linkDraft) *given[int] { return &l.baud }),
		of("data-bits", "bits a character", whole(7, 8).node(), func(l *linkDraft) *given[int] { return &l.dataBits }),
		of("parity", "parity of the serial line", word("none", "even", "odd").node(), func(l *linkDraft) *given[string] { return &l.parity }),
		of("stop-bits", "stop bits of the serial line", whole(1, 2).node(), func(l *linkDraft) *given[int] { return &l.stopBits }),
		of("timeout", "how long a unit may take to answer", lasting(10*time.Millisecond, time.Minute).node(), func(l *linkDraft) *given[time.Duration] { return &l.timeout }),
		of("pause", "silence between requests", lasting(0, 10*time.Second).node(), func(l *linkDraft) *given[time.Duration] { return &l.pause }),
		of("after-dial", "pause after a connection is made", lasting(0, time.Minute).node(), func(l *linkDraft) *given[time.Duration] { return &l.afterDial }),
		of("turnaround", "what a unit or gateway needs to answer, for the bus load", lasting(0, 10*time.Second).node(), func(l *linkDraft) *given[time.Duration] { return &l.turnaround }),
		of("sole-master", "true: nothing else asks on this line", truth().node(), func(l *linkDraft) *given[bool] { return &l.soleMaster }),
		of("shared", "the line has another master: how much of it may be used", mapping(sharedKeys()...), func(l *linkDraft) *given[sharedDraft] { return &l.shared }),
		of("second", "URL of a second path to the same units", linkURL().node(), func(l *linkDraft) *given[string] { return &l.second }),
		of("tls", "certificates of a tcp+tls link", mapping(tlsKeys()...), func(l *linkDraft) *given[tlsDraft] { return &l.tls }),
	}
}

func sharedKeys() []key[sharedDraft] {
	return []key[sharedDraft]{
		of("max-requests", "ceiling of requests a second", number(0.001, 1000).node(), func(s *sharedDraft) *given[float64] { return &s.maxRequests }),
		of("quiet", "daily windows without requests, local time", listOf(dailyWindow().node()), func(s *sharedDraft) *given[[]given[Window]] { return &s.quiet }),
	}
}

func tlsKeys() []key[tlsDraft] {
	return []key[tlsDraft]{
		of("cert_file", "certificate of this client, PEM", text().node(), func(t *tlsDraft) *given[string] { return &t.cert }).must("client.pem"),
		of("key_file", "its private key, PEM", text().node(), func(t *tlsDraft) *given[string] { return &t.key }).must("client.key"),
		of("ca_file", "authority that signed the server, PEM", text().node(), func(t *tlsDraft) *given[string] { return &t.ca }).must("ca.pem"),
	}
}

func linkURL() grammar[string] {
	return grammar[string]{quoted, schema{"type": "string", "pattern": `^(tcp|tcp\+tls|rtu|rtuovertcp)://`}, func(s string) (string, *fault) {
		if _, _, err := devices.ParseURL(s); err != nil {
			f := faultOf(err)
			if f.hint == "" {
				f.hint = `write it as in "tcp://10.0.4.7:502"`
			}
			return "", f
		}
		return s, nil
	}}
}

var clockSpan = regexp.MustCompile(`^([0-2][0-9]):([0-5][0-9])\s*-\s*([0-2][0-9]):([0-5][0-9])$`)

// dailyWindow is a span of local time such as "05:45-06:15".
func dailyWindow() grammar[Window] {
	return grammar[Window]{either, schema{"type": "string", "pattern": clockSpan.String()}, func(s string) (Window, *fault) {
		const hint = `write it as in "05:45-06:15"`
		m := clockSpan.FindStringSubmatch(s)
		if m == nil {
			return Window{}, faultf(hint, "%q is not a span of the day", clip(s))
		}
		w := Window{minutes(m[1], m[2]), minutes(m[3], m[4])}
		switch {
		case w.From >= 24*60 || w.To > 24*60:
			return Window{}, faultf(hint, "%q goes beyond 24:00", s)
		case w.From == w.To:
			return Window{}, faultf(hint, "%q is empty", s)
		}
		return w, nil
	}}
}

func minutes(h, m string) int {
	a, _ := strconv.Atoi(h) // two digits each, by the pattern
	b, _ := strconv.Atoi(m)
	return 60*a + b
}

// String returns the span as it is written, such as 05:45-06:15.
func (w Window) String() string {
	return fmt.Sprintf("%02d:%02d-%02d:%02d", w.From/60, w.From%60, w.To/60, w.To%60)
}
