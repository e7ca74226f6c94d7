package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"ohmdrift/config"
)

// checking is what check is asked to do.
type checking struct {
	file      string
	json      bool
	noSecrets bool
	schema    string
	permit    bool
	probe     bool
}

func newCheck() *cobra.Command {
	var k checking
	c := &cobra.Command{
		Use:   "check --config FILE",
		Short: "Validate a plant file and show what each loop can see",
		Long: `Read a plant file and every file that it names and list all mistakes at once,
each with file:line:col, what is wrong and what to write instead. A good plant is
shown: what each loop can see of its leads, the lead resistance to expect, how long
its cable may be, and how busy each link will be. Nothing is opened or sent,
except with --probe.

With --permit it prints what the daemon will do, for whoever must approve it:
every outgoing connection, port, unit, register range, function, rate and share
of the bus. With --probe it reads every loop once and says which do not answer as
described, with the byte order that would make sense.

Exit code 0: the plant is good. 1: it has mistakes. 2: wrong usage. 3: the file
cannot be read.`,
		Example: "  ohmdrift check --config larkfield.yaml\n  ohmdrift check --config larkfield.yaml --permit\n  ohmdrift check --config larkfield.yaml --probe\n  ohmdrift check --schema > plant.schema.json",
		Args:    cobra.NoArgs,
		RunE:    func(c *cobra.Command, _ []string) error { return k.run(c.Context(), c.OutOrStdout(), c.ErrOrStderr()) },
	}
	f := c.Flags()
	f.StringVar(&k.file, "config", "", "the plant's YAML file")
	f.BoolVar(&k.json, "json", false, "print one JSON object")
	f.BoolVar(&k.noSecrets, "no-secrets", false, "do not ask for tokens and certificates: for a look on another machine")
	f.StringVar(&k.schema, "schema", "", "print the JSON Schema of a plant file (or of a profile file) and nothing else")
	f.BoolVar(&k.permit, "permit", false, "print what the daemon will do on each connection")
	f.BoolVar(&k.probe, "probe", false, "read every loop once and compare with its description; reads only")
	f.Lookup("schema").NoOptDefVal = "plant"
	c.MarkFlagsOneRequired("config", "schema")
	c.MarkFlagsMutuallyExclusive("config", "schema")
	c.MarkFlagsMutuallyExclusive("permit", "probe", "schema")
	return c
}

func (k *checking) run(ctx context.Context, out, errs io.Writer) error {
	if k.schema != "" {
		return k.printSchema(out)
	}
	p, err := config.LoadWith(k.file, config.Options{SkipSecrets: k.noSecrets})
	var mistakes config.Mistakes
	if err != nil && !errors.As(err, &mistakes) {
		return couldNot(err)
	}
	var printErr error
	switch {
	case len(mistakes) == 0 && k.probe:
		return runProbe(ctx, p, k.json, out)
	case len(mistakes) == 0 && k.permit:
		printErr = printPermit(out, p, k.json)
	case k.json:
		e := json.NewEncoder(out)
		e.SetEscapeHTML(false)
		printErr = e.Encode(newCheckJSON(p, mistakes))
	case len(mistakes) > 0:
		printErr = printMistakes(out, mistakes)
	default:
		printErr = printPlant(out, p)
	}
	if printErr != nil {
		return couldNot(printErr)
	}
	if len(mistakes) > 0 {
		return bad()
	}
	return nil
}

func (k *checking) printSchema(out io.Writer) error {
	text := config.Schema()
	switch k.schema {
	case "plant":
	case "profile":
		text = config.ProfileSchema()
	default:
		return fmt.Errorf("--schema=%s: want plant or profile", k.schema)
	}
	if _, err := out.Write(text); err != nil {
		return couldNot(err)
	}
	return nil
}
