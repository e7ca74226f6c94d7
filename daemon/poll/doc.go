// Package poll reads every loop at its interval, one goroutine a link.
package poll
