// Package web is the daemon's built-in web page: the table of loops, one page
// a loop, the JSON beside them and the health answer.
//
//	Source (the daemon) ── Overview, Loop, Trend, Progress
//	   │ once a second while somebody looks
//	   ▼
//	hub ── the newest snapshot ──► one goroutine a stream: view, difference, event
//	   │
//	   ▼
//	handlers build a page value ──► templates only print it
//
// Sorting, filtering and paging happen here and not in the browser, so that the
// pages work without JavaScript, a plant of thousands of loops stays light in
// the browser, and a stream carries only the rows that its reader sees. A slow
// reader has no queue: it gets the newest snapshot when it is ready for one.
//
// A value is shown with its quality and age or not at all. What a transmitter
// does not report is "not visible", never 0. The pages only read: nothing here
// changes the daemon or a device.
package web
