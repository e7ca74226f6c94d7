package rules

import (
	"bytes"
	"fmt"
	"path"
	"regexp"
	"slices"
)

// unwanted is a pattern, and parts in lower case of which every match has one:
// they are searched first, because patterns are slow under the race detector.
type unwanted struct {
	pattern *regexp.Regexp
	parts   []string
}

// vocabulary lists what has no place in any text file. Brackets keep a pattern
// from matching itself.
func vocabulary() []unwanted {
	return []unwanted{
		{regexp.MustCompile(`(?m)(?:^|[^\w.\n])/(?:home|Users|root|w[o]rk|f[a]rm)/\w`), []string{"/home/", "/users/", "/root/", "/w" + "ork/", "/f" + "arm/"}},
		{regexp.MustCompile(`(?i)\.l[i]brary\b`), []string{".lib" + "rary"}},
		{regexp.MustCompile(`(?i)\bissues? #?\d+|\((?:fixes )?#\d+\)`), []string{"issue", "#"}},
		{regexp.MustCompile(`\b(?:T[O]DO|F[I]XME|X[X]X)\b`), []string{"to" + "do", "fix" + "me", "xx" + "x"}},
		{regexp.MustCompile(`(?i)\btr[a]nscript\b|\bs[e]ed document|\bpr[a]ctitioner\b`), []string{"tran" + "script", "seed " + "document", "practi" + "tioner"}},
		{regexp.MustCompile(`(?i)\b(?:proxy\.gol[a]ng\.org|registry\.n[p]mjs|deb\.deb[i]an\.org)\b`), []string{"proxy.gol" + "ang", "registry.np" + "mjs", "deb.deb" + "ian"}},
	}
}

func words(t *Tree) []Breach {
	all := vocabulary()
	var bs []Breach
	for _, f := range t.Files {
		if f.Under("deploy/rules/testdata") || !isText(f) {
			continue
		}
		lower := bytes.ToLower(f.Text)
		for _, u := range all {
			if slices.ContainsFunc(u.parts, func(p string) bool { return bytes.Contains(lower, []byte(p)) }) {
				bs = append(bs, f.matches(u.pattern)...)
			}
		}
	}
	return bs
}

func (f *File) matches(re *regexp.Regexp) []Breach {
	var bs []Breach
	for _, at := range re.FindAllIndex(f.Text, -1) {
		n := 1 + bytes.Count(f.Text[:at[0]], []byte("\n"))
		bs = append(bs, Breach{f.Path, n, fmt.Sprintf("says %q", bytes.TrimSpace(f.Text[at[0]:at[1]]))})
	}
	return bs
}

// isText leaves out binaries and the list of checksums.
func isText(f *File) bool {
	head := f.Text[:min(len(f.Text), 512)]
	return !bytes.ContainsRune(head, 0) && !slices.Contains([]string{"go.sum", "LICENSE"}, path.Base(f.Path))
}
