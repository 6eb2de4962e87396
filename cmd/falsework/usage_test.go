package main

import (
	"os"

	"strings"
	"testing"
)

func TestUsageErrorsPrintUsage(t *testing.T) {
	part := partFile("drip-hook")
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"bakke"}, `did you mean bake?`},
		{[]string{"draw"}, "0 arguments"},
		{[]string{"bake"}, "given none"},
		{[]string{"bake", part, "", "--out", "x"}, "PART is empty"},
		{[]string{"bake", part, part, "--out", "x", "--plan", "y"}, "--plan is drawn for one part"},
		{[]string{"bake", part, "--out", "x", "--unit", "ell"}, "ell"},
		{[]string{"bake", part, "--out", "x", "--body-type", "support"}, "neither model nor solidsupport"},
		{[]string{"bake", part, "--out", "x", "--created", "yesterday"}, "no date"},
		{[]string{"draw", part}, "--out is missing"},
		{[]string{"draw", part, "--out", "x", "--width", "3"}, "--width 3"},
		{[]string{"draw", part, "--out", "x", "--height", "30"}, "--height 30"},
		{[]string{"draw", part, "--out", "x", "--background", "red"}, `--background "red"`},
		{[]string{"bake", part}, "--out is missing"},
		{[]string{"bake", part, "--out", ""}, "--out is missing"},
		{[]string{"bake", part, "--out", "x", "--plan", ""}, "--plan is empty"},
		{[]string{"bake", part, "--out", "x", "--colour", "red"}, "--colour"},
		{[]string{"bake", part, "--out", "x", "--layer", "thin"}, "thin"},
		{[]string{"bake", part, "--out", "x", "--layer", "0"}, "--layer 0"},
		{[]string{"bake", part, "--out", "x", "--layer", "0.5"}, "thicker"},
		{[]string{"bake", part, "--out", "x", "--first-layer", "-0.2"}, "--first-layer -0.2"},
		{[]string{"bake", part, "--out", "x", "--nozzle", "NaN"}, "--nozzle NaN"},
		{[]string{"bake", part, "--out", "x", "--nozzle", "7"}, "nozzle 7 mm"},
		{[]string{"bake", part, "--out", "x", "--line", "4"}, "line 4 mm"},
		{[]string{"bake", part, "--out", "x", "--limit", "89"}, "limit 89°"},
		{[]string{"bake", part, "--out", "x", "--bridge", "Inf"}, "--bridge +Inf"},
		{[]string{"bake", part, "--out", "x", "--gap", "-1"}, "--gap -1"},
		{[]string{"bake", part, "--out", "x", "--gap", "3"}, "gap 3 mm"},
		{[]string{"bake", part, "--out", "x", "--direction", "north"}, `--direction "north"`},
		{[]string{"bake", part, "--out", "x", "--picture-width", "3"}, "--picture-width 3"},
		{[]string{"survy"}, `did you mean survey?`},
		{[]string{"survey"}, "takes one part"},
		{[]string{"survey", part, part}, "2 arguments"},
		{[]string{"survey", part, "--out", ""}, "--out is empty"},
		{[]string{"survey", part, "--cutters", ""}, "--cutters is empty"},
		{[]string{"survey", part, "--cutters", "x"}, "ends in .stl"},
		{[]string{"survey", part, "--cutters", "x.png"}, "ends in .stl"},
		{[]string{"survey", part, "--load", "down"}, `--load "down"`},
		{[]string{"survey", part, "--out", "x", "--plan", "y"}, "--plan"},
		{[]string{"survey", part, "--out", "x", "--limit", "89"}, "limit 89°"},
		{[]string{"survey", part, "--out", "x", "--bridge", "-1"}, "--bridge -1"},
		{[]string{"survey", part, "--out", "x", "--picture-width", "9000"}, "--picture-width 9000"},
	} {
		code, stdout, stderr := call(c.args...)
		first, rest, _ := strings.Cut(stderr, "\n")
		if code != exitRefused || stdout != "" {
			t.Errorf("%q: exit %d, said %q", c.args, code, stdout)
		}
		if !strings.HasPrefix(first, "falsework: ") || !strings.Contains(first, c.want) {
			t.Errorf("%q: first line %q, want %q", c.args, first, c.want)
		}
		if !strings.Contains(rest, "Usage:") {
			t.Errorf("%q: no usage", c.args)
		}
	}
	if _, err := os.Stat("x"); !os.IsNotExist(err) {
		t.Error("a refused command made its folder")
	}
}

func TestHelpTeachesTheJob(t *testing.T) {
	for _, args := range [][]string{{}, {"--help"}, {"help"}} {
		code, stdout, stderr := call(args...)
		if code != exitHolds || stderr != "" {
			t.Errorf("%q: exit %d, %q", args, code, stderr)
		}
		for _, want := range []string{"falsework survey", "falsework bake", "--plan", "Exit codes", "plate"} {
			if !strings.Contains(stdout, want) {
				t.Errorf("%q: help does not mention %q", args, want)
			}
		}
	}
	const shared = " --layer --first-layer --nozzle --line --limit --bridge --gap --direction --json --force --no-pictures --picture-width"
	for command, options := range map[string]string{"bake": "--out --plan --pose --weights" + shared, "pose": "--load --keep-clean --weights --rows --out" + shared, "survey": "--out --cutters --load" + shared} {
		code, stdout, _ := call(command, "--help")
		if code != exitHolds {
			t.Errorf("%s: exit %d", command, code)
		}
		for _, o := range strings.Fields(options) {
			if !strings.Contains(stdout, o+" ") {
				t.Errorf("%s's help does not list %s", command, o)
			}
		}
		for _, line := range strings.Split(stdout, "\n") {
			if n := len([]rune(line)); n > 120 {
				t.Errorf("%d letters in a line of %s's help: %q", n, command, line)
			}
		}
	}
}
