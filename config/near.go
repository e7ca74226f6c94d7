package config

import (
	"strconv"
	"strings"

	"github.com/agnivade/levenshtein"
)

// nearest returns the name that was probably meant, or nothing. Case, hyphens,
// underscores and blanks do not count; beyond that one slip in three letters is
// taken for a typing error.
func nearest(got string, names []string) string {
	best, fewest := "", 1<<30
	g := plainName(got)
	if len(g) > 100 { // no name of ours is that long, and the distance costs the square
		return ""
	}
	for _, n := range names {
		if d := levenshtein.ComputeDistance(g, plainName(n)); d < fewest {
			best, fewest = n, d
		}
	}
	if best == "" || fewest > max(1, len(plainName(best))/3) {
		return ""
	}
	return best
}

func plainName(s string) string {
	return strings.NewReplacer("-", "", "_", "", " ", "").Replace(strings.ToLower(s))
}

// meant is the hint for an unknown name: the near miss, or the names there are.
func meant(got string, names []string) string {
	if n := nearest(got, names); n != "" {
		return "did you mean " + n + "?"
	}
	return "want " + orList(names)
}

// orList joins names for a person: "a, b or c". Long lists are cut.
func orList(names []string) string {
	const most = 40
	switch n := len(names); {
	case n == 0:
		return "none is defined"
	case n == 1:
		return names[0]
	case n > most:
		return strings.Join(names[:most], ", ") + " or " + strconv.Itoa(n-most) + " more"
	default:
		return strings.Join(names[:n-1], ", ") + " or " + names[n-1]
	}
}
