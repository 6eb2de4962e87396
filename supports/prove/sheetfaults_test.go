package prove_test

import (
	"strings"
	"testing"
)

// closes tells whether a structure is a sheet or steps, by the ids that layouts give.
func closes(id string) bool { return strings.HasPrefix(id, "S") || strings.HasPrefix(id, "B") }

// Faults in sheets and steps that matter are caught too, and none that does not is
// called a failure. The slow judge takes a sheet for a support that was in the part
// from the first, so it counts only what a fault makes worse.
func TestFaultsInSheets(t *testing.T) {
	if testing.Short() {
		t.Skip("the judge is slow")
	}
	one := inject(t, "nut-pocket-plate", 3)
	t.Log(one)
	for _, line := range one.missed {
		t.Log(line)
	}
	if one.matters == 0 || one.caught < one.matters || one.falsely > 0 {
		t.Errorf("%s", one)
	}
}
