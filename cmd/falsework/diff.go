package main

import (
	"fmt"
	"os"

	"falsework/supports/plan"

	"github.com/spf13/cobra"
)

const diffHelp = `Diff tells by id what became of each thing of one plan in another: settings, zones,
lines and posts that were added, moved (and how far), resized, removed or struck,
and what changed hands between program and designer. Comments and the way in which
numbers are written do not count.

Exit codes: 0 told, whether or not they differ; 2 bad usage or input.

--json prints one object with changes[]: op, what, id, by, distance_mm, from, to.`

func newDiffCommand(io streams) *cobra.Command {
	asJSON := false
	cmd := &cobra.Command{
		Use:     "diff OLD.plan.yaml NEW.plan.yaml",
		Short:   "Tell what differs between two plans",
		Long:    diffHelp,
		Example: `  falsework diff out/bracket.plan.yaml mine.plan.yaml`,
		Args:    exactly(2, "two plans"),
		RunE: func(_ *cobra.Command, args []string) error {
			var both [2]plan.Plan
			for i, path := range args {
				data, err := os.ReadFile(path)
				if err != nil {
					return fileError(path, err)
				}
				if both[i], err = plan.Decode(path, data); err != nil {
					return fmt.Errorf("%w; name a plan, or correct it", err)
				}
			}
			changes := append([]plan.Change{}, plan.Diff(both[0], both[1])...)
			if !asJSON {
				lines{io.out}.changes(changes, len(changes))
				return nil
			}
			return tellJSON(io, map[string]any{"changes": changes}, nil)
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print one JSON object instead of the list")
	return cmd
}
