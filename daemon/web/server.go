package web

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"html/template"
	"net"
	"net/http"
	"time"

	"github.com/klauspost/compress/gzhttp"
	"github.com/rs/zerolog"
	"golang.org/x/sync/errgroup"
)

// Server serves the pages of one daemon.
type Server struct {
	src    Source
	log    zerolog.Logger
	hub    *hub
	assets *assets
	pages  *template.Template
	others map[string]http.Handler // by pattern
}

// New returns a server of src. It starts nothing; Run does.
func New(src Source, log zerolog.Logger) *Server {
	return &Server{src: src, log: log, hub: newHub(src), assets: loadAssets(), pages: parsePages()}
}

// Also serves another package's answers under a pattern, such as GET /metrics.
// Call it before Handler and Run.
func (s *Server) Also(pattern string, h http.Handler) {
	if s.others == nil {
		s.others = map[string]http.Handler{}
	}
	s.others[pattern] = h
}

// Handler returns the pages and the JSON. Streams get their beat from Run:
// without it they send one event and wait.
func (s *Server) Handler() http.Handler {
	pages := http.NewServeMux()
	pages.HandleFunc("GET /{$}", s.serveOverview)
	pages.HandleFunc("GET /loop/{tag}", s.serveLoop)
	pages.HandleFunc("GET /api/loops", s.serveAPILoops)
	pages.HandleFunc("GET /api/loops/{tag}", s.serveAPILoop)
	pages.HandleFunc("GET /api/loops/{tag}/trend", s.serveAPITrend)
	pages.HandleFunc("GET /healthz", s.serveHealth)
	pages.HandleFunc("GET /static/", s.assets.serve)
	pages.HandleFunc("GET /", s.serveNothing)
	all := http.NewServeMux()
	all.HandleFunc("GET /stream", s.serveOverviewStream)
	all.HandleFunc("GET /stream/{tag}", s.serveLoopStream)
	for pattern, h := range s.others {
		all.Handle(pattern, h)
	}
	all.Handle("/", gzhttp.GzipHandler(pages))
	return http.NewCrossOriginProtection().Handler(secured(all))
}

// stopWithin is how long Run waits for the answers under way when it stops.
const stopWithin = 5 * time.Second

// Run serves on l until ctx ends, then closes it, ends every stream and waits
// for the requests under way, at most a few seconds. It returns nil when it was
// told to stop.
func (s *Server) Run(ctx context.Context, l net.Listener) error {
	g, ctx := errgroup.WithContext(ctx)
	srv := &http.Server{
		Handler:           s.Handler(),
		ReadHeaderTimeout: 10 * time.Second,
		WriteTimeout:      time.Minute, // streams set their own for each event
		IdleTimeout:       2 * time.Minute,
		MaxHeaderBytes:    1 << 16,
		BaseContext:       func(net.Listener) context.Context { return ctx },
	}
	g.Go(func() error { s.hub.run(ctx); return nil })
	g.Go(func() error {
		if err := srv.Serve(l); !errors.Is(err, http.ErrServerClosed) {
			return fmt.Errorf("web page on %s: %w", l.Addr(), err)
		}
		return nil
	})
	g.Go(func() error {
		<-ctx.Done()
		stop, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopWithin)
		defer cancel()
		if err := srv.Shutdown(stop); err != nil {
			return srv.Close()
		}
		return nil
	})
	return g.Wait()
}

// secured sets the headers that keep a page what it is: our own scripts and
// styles only, in nobody's frame, and no address handed to others.
func secured(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", "default-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'; object-src 'none'")
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("X-Frame-Options", "DENY")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), geolocation=(), microphone=()")
		next.ServeHTTP(w, r)
	})
}

// print writes a whole page, or an error when the template fails: never half a
// page with the wrong status.
func (s *Server) print(w http.ResponseWriter, status int, name string, page any) {
	var b bytes.Buffer
	if err := s.pages.ExecuteTemplate(&b, name, page); err != nil {
		s.log.Error().Err(err).Str("page", name).Msg("page failed to render")
		http.Error(w, "this page failed to render; the log says why", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	_, _ = b.WriteTo(w) // the reader is gone: nobody is left to tell
}

// fragment renders one block of a page for a stream.
func (s *Server) fragment(name string, data any) string {
	var b bytes.Buffer
	if err := s.pages.ExecuteTemplate(&b, name, data); err != nil {
		s.log.Error().Err(err).Str("block", name).Msg("block failed to render")
		return ""
	}
	return b.String()
}
