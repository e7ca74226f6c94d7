package rules

import (
	"bytes"
	"fmt"
	"path"
	"regexp"
	"slices"
)

// unwanted lists what has no place in any text file. Brackets keep a pattern
// from matching itself.
func unwanted() []*regexp.Regexp {
	return []*regexp.Regexp{
		regexp.MustCompile(`(?m)(?:^|[^\w.\n])/(?:home|Users|root|w[o]rk|f[a]rm)/\w`), // folders of one machine
		regexp.MustCompile(`\.l[i]brary\b`),
		regexp.MustCompile(`(?i)\bissues? #?\d+|\((fixes )?#\d+\)`),
		regexp.MustCompile(`\b(T[O]DO|F[I]XME|X[X]X)\b`),
		regexp.MustCompile(`(?i)\btr[a]nscript\b|\bs[e]ed document|\bpr[a]ctitioner\b`),
		regexp.MustCompile(`(?i)\b(proxy\.gol[a]ng\.org|registry\.n[p]mjs|deb\.deb[i]an\.org)\b`),
	}
}

func words(t *Tree) []Breach {
	patterns := unwanted()
	var bs []Breach
	for _, f := range t.Files {
		if f.Under("deploy/rules/testdata") || !isText(f) {
			continue
		}
		for _, re := range patterns {
			for _, at := range re.FindAllIndex(f.Text, -1) {
				n := 1 + bytes.Count(f.Text[:at[0]], []byte("\n"))
				bs = append(bs, Breach{f.Path, n, fmt.Sprintf("says %q", bytes.TrimSpace(f.Text[at[0]:at[1]]))})
			}
		}
	}
	return bs
}

// isText leaves out binaries and the list of checksums.
func isText(f *File) bool {
	head := f.Text[:min(len(f.Text), 512)]
	return !bytes.ContainsRune(head, 0) && !slices.Contains([]string{"go.sum", "LICENSE"}, path.Base(f.Path))
}
