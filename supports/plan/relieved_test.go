package plan

import (
	"slices"
	"strings"
	"testing"

	"falsework/mesh"
)

// Of a path's straights those of relieved ones are relieved, and those of an arc between two of
// which both are: what touches the part does so all round the corner.
func TestCourseTellsWhatIsRelieved(t *testing.T) {
	wave := [][3]float64{{0, 0, 8}, {0, 20, 8}, {10, 20, 8}, {10, 0, 8}, {20, 0, 8}}
	for _, round := range []float64{0, 2} {
		for _, relieved := range [][]int{nil, {2}, {1, 2}, {4}, {1, 2, 3, 4}} {
			l := Line{At: wave, Round: round, Relieved: relieved}
			at, is := l.Course()
			if !slices.Equal(at, l.Path()) || len(is) != len(at)-1 {
				t.Fatalf("%d straights told of %d points", len(is), len(at))
			}
			for i := range is {
				// By where the middle of it is: on a straight, or between two.
				x, y := (at[i][0]+at[i+1][0])/2, (at[i][1]+at[i+1][1])/2
				want := true
				on := 0
				for n := 1; n < len(wave); n++ {
					a, b := wave[n-1], wave[n]
					if x >= min(a[0], b[0])-2 && x <= max(a[0], b[0])+2 && y >= min(a[1], b[1])-2 && y <= max(a[1], b[1])+2 {
						bent := min(a[0], b[0]) > x || max(a[0], b[0]) < x || min(a[1], b[1]) > y || max(a[1], b[1]) < y
						along := x == a[0] && x == b[0] || y == a[1] && y == b[1]
						if along && !bent {
							want, on = slices.Contains(relieved, n), n
							break
						}
						want = want && slices.Contains(relieved, n)
					}
				}
				if is[i] != want {
					t.Errorf("round %g, relieved %v: straight from %v to %v (on %d) is %v", round, relieved, at[i], at[i+1], on, is[i])
				}
			}
		}
	}
}

// A line without one of its straights is what is before it and what behind; straights keep
// their lot.
func TestWithoutAStraight(t *testing.T) {
	l := Line{ID: "L1", At: [][3]float64{{0, 0, 8}, {1, 0, 8}, {2, 0, 8}, {3, 0, 8}, {4, 0, 8}}, Relieved: []int{1, 3, 4}}
	for n, want := range map[int][2][]int{1: {nil, {2, 3}}, 2: {{1}, {1, 2}}, 3: {{1}, {1}}, 4: {{1, 3}, nil}} {
		before, behind := l.Without(n)
		if !slices.Equal(before.At, l.At[:n]) || !slices.Equal(behind.At, l.At[n:]) {
			t.Errorf("without %d: %v and %v", n, before.At, behind.At)
		}
		if !slices.Equal(before.Relieved, want[0]) || !slices.Equal(behind.Relieved, want[1]) {
			t.Errorf("without %d: relieved %v and %v, want %v", n, before.Relieved, behind.Relieved, want)
		}
	}
	if len(l.At) != 5 || !slices.Equal(l.Relieved, []int{1, 3, 4}) {
		t.Error("the line itself changed")
	}
}

// Straights that a line has not, and those of a tie, are refused at their line; a difference of
// them is told.
func TestRelievedIsChecked(t *testing.T) {
	for _, c := range []struct{ line, want string }{
		{"{id: L1, at: [[0, 0, 8], [9, 0, 8]], relieved: [2]}", "no straight 2"},
		{"{id: L1, at: [[0, 0, 8], [9, 0, 8]], relieved: [0]}", "no straight 0"},
		{"{id: L1, at: [[0, 0, 8], [9, 0, 8], [9, 9, 8]], relieved: [2, 1]}", "out of turn"},
		{"{id: L1, at: [[0, 0, 8], [9, 0, 8], [9, 9, 8]], relieved: [1, 1]}", "out of turn"},
		{"{id: L1, at: [[0, 0, 8], [9, 0, 8]], tie: true, relieved: [1]}", "a tie"},
	} {
		_, err := Decode("x.yaml", []byte("falsework: 5\nlines:\n- "+c.line+"\n"))
		if where, ok := err.(*mesh.FormatError); err == nil || !strings.Contains(err.Error(), c.want) || ok && where == nil {
			t.Errorf("%s: %v, want %q", c.line, err, c.want)
		}
	}
	a := small(t)
	b := small(t)
	b.Lines[1].Relieved = []int{1}
	d := Diff(a, b)
	if len(d) != 1 || d[0].ID != "L2" || d[0].From != "relieved: [2]" || d[0].To != "relieved: [1]" {
		t.Errorf("%+v", d)
	}
}
