package web

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"html/template"
	"io/fs"
	"net/http"
	"strings"
	"time"
)

//go:embed static
var staticFiles embed.FS

//go:embed *.html
var pageFiles embed.FS

// parsePages reads every template; they are embedded, so a mistake in one is a
// mistake in the program.
func parsePages() *template.Template {
	return template.Must(template.New("").Funcs(template.FuncMap{"stamp": stamp, "unix": time.Time.Unix}).ParseFS(pageFiles, "*.html"))
}

// assets are the embedded scripts and styles. Their addresses carry a digest of
// the content, so that a browser may keep them for ever.
type assets struct {
	addresses map[string]string // by path under static
	content   map[string][]byte
}

func loadAssets() *assets {
	a := &assets{map[string]string{}, map[string][]byte{}}
	err := fs.WalkDir(staticFiles, "static", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := staticFiles.ReadFile(path)
		if err != nil {
			return err
		}
		sum := sha256.Sum256(b)
		a.content["/"+path] = b
		a.addresses[strings.TrimPrefix(path, "static/")] = "/" + path + "?v=" + hex.EncodeToString(sum[:6])
		return nil
	})
	if err != nil {
		panic(err) // embedded files always read
	}
	return a
}

func (a *assets) serve(w http.ResponseWriter, r *http.Request) {
	b, ok := a.content[r.URL.Path]
	if !ok {
		http.NotFound(w, r)
		return
	}
	if r.URL.RawQuery != "" {
		w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
	}
	http.ServeContent(w, r, r.URL.Path, time.Time{}, bytes.NewReader(b))
}
