// Package profiles holds register maps of generic transmitters as YAML files,
// one a file, in the same form as a user's own. Package config reads them.
//
//	leads-float       every lead as float32
//	leads-scaled      every lead as int16 mΩ, status word, cycle counter
//	pairs-float       three-wire terminal pairs as float32, words swapped
//	loops-unsigned    the sums of the leads as uint16
//	reading-only      nothing of the leads
//	four-wire-emf     every lead, thermal EMF, second current, device temperature
package profiles

import (
	"embed"
	"io/fs"
)

//go:embed *.yaml
var files embed.FS

// File is one register map as text.
type File struct {
	Name string // of the file
	Text []byte
}

// All returns the register maps in the order of their file names.
func All() []File {
	names, err := fs.Glob(files, "*.yaml")
	if err != nil {
		panic(err) // the pattern is a constant
	}
	all := make([]File, 0, len(names))
	for _, n := range names {
		text, err := files.ReadFile(n)
		if err != nil {
			panic(err) // embedded
		}
		all = append(all, File{n, text})
	}
	return all
}
