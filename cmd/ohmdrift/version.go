package main

import (
	"encoding/json"
	"fmt"
	"runtime"
	"runtime/debug"

	"github.com/spf13/cobra"
)

// versionInfo is what version --json prints.
type versionInfo struct {
	Version  string `json:"version"`
	Revision string `json:"revision"`
	Changed  bool   `json:"changed"` // built from a tree with uncommitted changes
	Go       string `json:"go"`
	Platform string `json:"platform"`
}

func readVersion() versionInfo {
	v := versionInfo{Version: "unknown", Revision: "unknown", Go: runtime.Version(), Platform: runtime.GOOS + "/" + runtime.GOARCH}
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return v
	}
	v.Version = info.Main.Version
	for _, s := range info.Settings {
		switch s.Key {
		case "vcs.revision":
			v.Revision = s.Value
		case "vcs.modified":
			v.Changed = s.Value == "true"
		}
	}
	return v
}

func newVersion() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use:     "version",
		Short:   "Print what was built, from which revision",
		Example: "  ohmdrift version --json",
		Args:    cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			v := readVersion()
			if asJSON {
				if err := json.NewEncoder(c.OutOrStdout()).Encode(v); err != nil {
					return couldNot(err)
				}
				return nil
			}
			changed := ""
			if v.Changed {
				changed = " with local changes"
			}
			_, err := fmt.Fprintf(c.OutOrStdout(), "ohmdrift %s\nrevision %s%s\nbuilt with %s for %s\n", v.Version, v.Revision, changed, v.Go, v.Platform)
			return err
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print one JSON object")
	return c
}
