package config

import (
	"strings"
	"time"
)

// Grammars of cells whose column carries the unit in its name.

// inUnit is a number in the unit of its column.
func inUnit[V ~float64](low, high float64) grammar[V] {
	g := number(low, high)
	return grammar[V]{bare, g.schema, func(s string) (V, *fault) {
		v, f := g.parse(s)
		if m := withUnit.FindStringSubmatch(s); f != nil && m != nil && m[2] != "" && m[2][0] != ',' {
			f = faultf("write "+m[1]+" in the unit of the column", "%q has a unit", clip(s))
		}
		return V(v), f
	}}
}

// seconds is an interval in the column interval_s.
func seconds() grammar[time.Duration] {
	g := inUnit[float64](fastInterval.Seconds(), slowInterval.Seconds())
	return grammar[time.Duration]{bare, g.schema, func(s string) (time.Duration, *fault) {
		v, f := g.parse(s)
		return time.Duration(v*float64(time.Second) + 0.5), f
	}}
}

// cellFlag is a flag as spreadsheets write it.
func cellFlag() grammar[bool] {
	return grammar[bool]{bare, schema{"type": "boolean"}, func(s string) (bool, *fault) {
		switch strings.ToLower(s) {
		case "true", "yes", "y", "1":
			return true, nil
		case "false", "no", "n", "0":
			return false, nil
		}
		return false, faultf("write true or false", "%q is not a flag", clip(s))
	}}
}
