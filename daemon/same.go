package daemon

import (
	"math"
	"reflect"

	"ohmdrift/config"
)

// sameLoop reports whether a reload left what the diagnostics know of a loop as
// it was, so that its state may stay as it is. Where it is read (link, unit,
// base) and how often is the poller's business.
func sameLoop(a, b *config.Loop) bool {
	x, y := a.Spec, b.Spec
	x.Interval, y.Interval = 0, 0
	return same(reflect.ValueOf(x), reflect.ValueOf(y))
}

// same compares two values field by field, through pointers, NaN equal to NaN:
// "not given" on both sides is no difference. Text forms would not do, since a
// sensor prints its name alone.
func same(a, b reflect.Value) bool {
	if a.Kind() != b.Kind() {
		return false
	}
	switch a.Kind() {
	case reflect.Float64, reflect.Float32:
		x, y := a.Float(), b.Float()
		return x == y || math.IsNaN(x) && math.IsNaN(y)
	case reflect.Pointer:
		if a.IsNil() || b.IsNil() {
			return a.IsNil() && b.IsNil()
		}
		return a.Pointer() == b.Pointer() || same(a.Elem(), b.Elem())
	case reflect.Struct:
		for i := range a.NumField() {
			if !same(a.Field(i), b.Field(i)) {
				return false
			}
		}
		return true
	case reflect.Slice, reflect.Array:
		if a.Len() != b.Len() {
			return false
		}
		for i := range a.Len() {
			if !same(a.Index(i), b.Index(i)) {
				return false
			}
		}
		return true
	case reflect.Func:
		return a.IsNil() && b.IsNil() // two functions cannot be compared: another one is a difference
	}
	return a.Equal(b)
}
