package main

import (
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
}

func newCheck() *cobra.Command {
	var k checking
	c := &cobra.Command{
		Use:   "check --config FILE",
		Short: "Validate a plant file and show what each loop can see",
		Long: `Read a plant file and every file that it names and list all mistakes at once,
each with file:line:col, what is wrong and what to write instead. A good plant is
shown: what each loop can see of its leads, the lead resistance to expect, how long
its cable may be, and how busy each link will be. Nothing is opened or sent.

Exit code 0: the plant is good. 1: it has mistakes. 2: wrong usage. 3: the file
cannot be read.`,
		Example: "  ohmdrift check --config larkfield.yaml\n  ohmdrift check --schema > plant.schema.json",
		Args:    cobra.NoArgs,
		RunE:    func(c *cobra.Command, _ []string) error { return k.run(c.OutOrStdout(), c.ErrOrStderr()) },
	}
	f := c.Flags()
	f.StringVar(&k.file, "config", "", "the plant's YAML file")
	f.BoolVar(&k.json, "json", false, "print one JSON object")
	f.BoolVar(&k.noSecrets, "no-secrets", false, "do not ask for tokens and certificates: for a look on another machine")
	f.StringVar(&k.schema, "schema", "", "print the JSON Schema of a plant file (or of a profile file) and nothing else")
	f.Lookup("schema").NoOptDefVal = "plant"
	c.MarkFlagsOneRequired("config", "schema")
	c.MarkFlagsMutuallyExclusive("config", "schema")
	return c
}

func (k *checking) run(out, errs io.Writer) error {
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
