package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os/signal"
	"strings"
	"syscall"

	"github.com/spf13/cobra"

	"ohmdrift/config"
)

// The exit codes of every command.
const (
	exitGood    = 0
	exitBad     = 1 // the thing asked for is bad: config wrong, loop in trouble
	exitUsage   = 2 // the command line is wrong
	exitCouldnt = 3 // could not do it
)

// exitError carries the exit code of a command up to execute. A nil cause
// prints nothing: the command has said all there is to say.
type exitError struct {
	code  int
	cause error
}

func (e *exitError) Error() string {
	if e.cause == nil {
		return fmt.Sprintf("exit %d", e.code)
	}
	return e.cause.Error()
}

func (e *exitError) Unwrap() error { return e.cause }

// bad ends a command whose subject is bad and has been described already.
func bad() error { return &exitError{exitBad, nil} }

// couldNot ends a command that could not do its job.
func couldNot(err error) error { return &exitError{exitCouldnt, err} }

// commands lists the subcommands in the order in which help shows them.
func commands() []*cobra.Command {
	return []*cobra.Command{
		newSimulate(),
		newDemo(),
		newRun(),
		newRead(),
		newCheck(),
		newBudget(),
		newReplay(),
		newWork(),
		newVersion(),
	}
}

func newRoot() *cobra.Command {
	root := &cobra.Command{
		Use:           "ohmdrift",
		Short:         "Watch the leads of resistance thermometers",
		Long:          "ohmdrift polls temperature transmitters over Modbus (reads only), computes what the\nlead resistances do to each reading, names the lead and terminals that are failing\nand forecasts when the loop leaves its limit.",
		SilenceUsage:  true,
		SilenceErrors: true,
	}
	root.AddCommand(commands()...)
	return root
}

// execute runs one command line and returns its exit code.
func execute(args []string, in io.Reader, out, errs io.Writer) int {
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGINT, syscall.SIGTERM)
	defer stop()
	context.AfterFunc(ctx, stop) // a second Ctrl-C ends the program at once
	root := newRoot()
	root.SetArgs(args)
	root.SetIn(in)
	root.SetOut(out)
	root.SetErr(errs)
	c, err := root.ExecuteContextC(ctx)
	return exitCode(c, err, errs)
}

func exitCode(c *cobra.Command, err error, errs io.Writer) int {
	if err == nil {
		return exitGood
	}
	var e *exitError
	if !errors.As(err, &e) { // cobra's own: unknown command, bad flag, wrong arguments
		fmt.Fprintf(errs, "ohmdrift: %s\nrun %s --help\n", usageText(err), c.CommandPath())
		return exitUsage
	}
	if e.cause != nil {
		fmt.Fprintf(errs, "ohmdrift: %v\n", e.cause)
	}
	return e.code
}

// usageText is a mistake on the command line in the words of a user.
func usageText(err error) string {
	text, _, _ := strings.Cut(err.Error(), ": strconv.") // what the standard library calls it helps nobody
	if names, ok := strings.CutPrefix(text, "required flag(s) "); ok {
		return "missing --" + strings.ReplaceAll(strings.Trim(strings.TrimSuffix(names, " not set"), `"`), `", "`, " and --")
	}
	if _, rest, ok := strings.Cut(text, "at least one of the flags in the group ["); ok {
		names, _, _ := strings.Cut(rest, "]")
		return "missing --" + strings.ReplaceAll(names, " ", " or --")
	}
	return text
}

// mistaken ends a command whose plant file did not load: mistakes in it are
// printed and make it bad; a file that cannot be read at all is something else.
func mistaken(err error, errs io.Writer) error {
	var mistakes config.Mistakes
	if !errors.As(err, &mistakes) {
		return couldNot(err)
	}
	fmt.Fprintln(errs, err)
	return bad()
}
