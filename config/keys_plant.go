package config

import (
	"net"
	"net/url"
	"strconv"
	"time"

	"ohmdrift/diagnostics/quantity"
)

// plantKeys lists the top of a plant file.
func plantKeys() []key[plantDraft] {
	return []key[plantDraft]{
		of("site", "name of the site", text().node(), func(p *plantDraft) *given[string] { return &p.site }).must("Larkfield"),
		of("profiles", "files with register maps of the site's own", listOf(text().node()), func(p *plantDraft) *given[[]given[string]] { return &p.profiles }),
		of("sensors", "sensor curves of the site's own, by coefficients", listOf(mapping(sensorKeys()...)), func(p *plantDraft) *given[[]given[sensorDraft]] { return &p.sensors }),
		of("links", "Modbus connections", listOf(mapping(linkKeys()...)), func(p *plantDraft) *given[[]given[linkDraft]] { return &p.links }),
		of("defaults", "what holds for every loop that does not say otherwise", mapping(defaultKeys()...), func(p *plantDraft) *given[loopDraft] { return &p.defaults }),
		of("loops", "temperature measurements", listOf(mapping(loopKeys()...)), func(p *plantDraft) *given[[]given[loopDraft]] { return &p.loops }),
		of("index", "instrument index: more loops, from a CSV file", mapping(tableKeys("index.csv")...), func(p *plantDraft) *given[tableDraft] { return &p.index }),
		of("terminals", "terminal runs, from a CSV file", mapping(tableKeys("terminals.csv")...), func(p *plantDraft) *given[tableDraft] { return &p.terminals }),
		of("store", "embedded store", mapping(storeKeys()...), func(p *plantDraft) *given[storeDraft] { return &p.store }),
		of("influx", "server with the v2 write API", mapping(influxKeys()...), func(p *plantDraft) *given[influxDraft] { return &p.influx }),
		of("alerts", "where notices go besides the log", mapping(alertKeys()...), func(p *plantDraft) *given[alertsDraft] { return &p.alerts }),
		of("web", "built-in pages", mapping(webKeys()...), func(p *plantDraft) *given[webDraft] { return &p.web }),
	}
}

func tableKeys(example string) []key[tableDraft] {
	return []key[tableDraft]{
		of("file", "CSV file, beside this one", text().node(), func(t *tableDraft) *given[string] { return &t.file }).must(example),
		of("columns", "your column names and what they are called here; ignore leaves one out", wordMap(), func(t *tableDraft) *given[map[string]given[string]] { return &t.columns }),
	}
}

func storeKeys() []key[storeDraft] {
	return []key[storeDraft]{
		of("dir", "folder of the databases", text().node(), func(s *storeDraft) *given[string] { return &s.dir }),
		of("retention", "how long raw samples are kept", lasting(24*time.Hour, 100*365*24*time.Hour).node(), func(s *storeDraft) *given[time.Duration] { return &s.retention }),
	}
}

// secretKeys are the two ways to give a secret; the secret itself is no key.
func secretKeys[T any](to func(*T) *secretDraft) []key[T] {
	return []key[T]{
		of("token_env", "environment variable that holds the token", variable().node(), func(t *T) *given[string] { return &to(t).env }),
		of("token_file", "file that holds the token", text().node(), func(t *T) *given[string] { return &to(t).file }),
	}
}

func influxKeys() []key[influxDraft] {
	return append([]key[influxDraft]{
		of("url", "base URL of the server", webURL().node(), func(i *influxDraft) *given[string] { return &i.url }).must("http://127.0.0.1:8086"),
		of("org", "organisation", text().node(), func(i *influxDraft) *given[string] { return &i.org }),
		of("bucket", "bucket, or database/policy of a version 1 server", text().node(), func(i *influxDraft) *given[string] { return &i.bucket }).must("rtd"),
		of("batch", "points a call", whole(1, 50000).node(), func(i *influxDraft) *given[int] { return &i.batch }),
	}, secretKeys(func(i *influxDraft) *secretDraft { return &i.token })...)
}

func alertKeys() []key[alertsDraft] {
	return []key[alertsDraft]{
		of("webhook", "HTTP receiver of findings", mapping(webhookKeys()...), func(a *alertsDraft) *given[webhookDraft] { return &a.webhook }),
	}
}

func webhookKeys() []key[webhookDraft] {
	return append([]key[webhookDraft]{
		of("url", "where findings are posted", webURL().node(), func(w *webhookDraft) *given[string] { return &w.url }).must("https://example.org/hook"),
		of("timeout", "how long an answer may take", lasting(100*time.Millisecond, time.Minute).node(), func(w *webhookDraft) *given[time.Duration] { return &w.timeout }),
	}, secretKeys(func(w *webhookDraft) *secretDraft { return &w.token })...)
}

func webKeys() []key[webDraft] {
	return []key[webDraft]{
		of("listen", "address and port of the pages", listenAddress().node(), func(w *webDraft) *given[string] { return &w.listen }).must("127.0.0.1:8480"),
	}
}

func sensorKeys() []key[sensorDraft] {
	coefficient := number(-1, 1)
	celsius := by(quantity.ParseTemp, unitSchema("°?C|degC|°?F|degF|K", "-50 C"))
	return []key[sensorDraft]{
		of("name", "name that loops use", text().node(), func(s *sensorDraft) *given[string] { return &s.name }).must("Larkfield-7"),
		of("r0", "resistance at 0 °C", ohms(1, 100e3).node(), func(s *sensorDraft) *given[quantity.Ohm] { return &s.r0 }).must("100.02 ohm"),
		of("a", "coefficient A, 1/K", coefficient.node(), func(s *sensorDraft) *given[float64] { return &s.a }).must("3.9083e-3"),
		of("b", "coefficient B, 1/K²", coefficient.node(), func(s *sensorDraft) *given[float64] { return &s.b }).must("-5.775e-7"),
		of("c", "coefficient C below 0 °C, 1/K⁴", coefficient.node(), func(s *sensorDraft) *given[float64] { return &s.c }),
		of("low", "where the calibration begins", celsius.node(), func(s *sensorDraft) *given[quantity.DegC] { return &s.low }).must("-50 C"),
		of("high", "where the calibration ends", celsius.node(), func(s *sensorDraft) *given[quantity.DegC] { return &s.high }).must("250 C"),
	}
}

func webURL() grammar[string] {
	return grammar[string]{quoted, schema{"type": "string", "pattern": "^https?://"}, func(s string) (string, *fault) {
		u, err := url.Parse(s)
		switch {
		case err != nil:
			return "", faultf(`write it as in "https://host:8086"`, "%q is not a URL", clip(s))
		case u.Scheme != "http" && u.Scheme != "https", u.Host == "":
			return "", faultf(`write it as in "https://host:8086"`, "%q does not begin with http:// or https:// and a host", clip(s))
		case u.User != nil:
			return "", faultf("give the secret by token_env or token_file", "the URL holds a name or password")
		}
		return s, nil
	}}
}

func variable() grammar[string] {
	const pattern = `^[A-Za-z_][A-Za-z0-9_]*$`
	return grammar[string]{quoted, schema{"type": "string", "pattern": pattern}, func(s string) (string, *fault) {
		for i, c := range s {
			if c != '_' && (c < 'A' || c > 'Z') && (c < 'a' || c > 'z') && (i == 0 || c < '0' || c > '9') {
				return "", faultf("write the name of a variable, as in OHMDRIFT_TOKEN; the secret itself does not belong here", "%q is not the name of an environment variable", mask(s))
			}
		}
		if s == "" {
			return "", faultf("leave it out instead", "empty")
		}
		return s, nil
	}}
}

// mask shows only the beginning of what may be a secret pasted in the wrong
// place.
func mask(s string) string {
	if len(s) <= 4 {
		return "…"
	}
	return clip(s[:3]) + "…"
}

func listenAddress() grammar[string] {
	return grammar[string]{quoted, schema{"type": "string", "pattern": `:[0-9]+$`}, func(s string) (string, *fault) {
		host, port, err := net.SplitHostPort(s)
		if err != nil {
			return "", faultf(`write it as in "127.0.0.1:8480"`, "%q is not an address with a port", clip(s))
		}
		if n, err := strconv.Atoi(port); err != nil || n < 0 || n > 65535 || !plainWhole.MatchString(port) {
			return "", faultf("want 0 to 65535", "port %q of %q", clip(port), clip(host))
		}
		return s, nil
	}}
}
