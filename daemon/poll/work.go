package poll

import "time"

type work struct{}
type workOrder struct{}

func (r *runner) dueWork(now time.Time) *work      { return nil }
func (r *runner) serveWork(w *work, now time.Time) {}
func (r *runner) nextWork() time.Time              { return time.Time{} }
func (r *runner) orderWork(w workOrder)            {}
func (r *runner) refreshWorks()                    {}
