package grow

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"falsework/supports/plan"
)

// The nearest posts are those of walks from every post to the end, on networks of random
// ways and with lines that name posts or do not.
func TestNearestAgainstFullWalks(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 9))
	for round := range 200 {
		n := &Network{}
		var lines []plan.Line
		const each = 6
		for l := range 8 {
			line := plan.Line{ID: fmt.Sprint("L", l)}
			if round%2 == 1 && r.IntN(2) == 0 {
				line.Posts = []string{fmt.Sprint("P", r.IntN(5))}
			}
			lines = append(lines, line)
			var wall []int
			for range each {
				wall = append(wall, len(n.Stations))
				s := Station{Line: l}
				s.P.X, s.P.Y = 40*r.Float64(), 40*r.Float64()
				n.Stations = append(n.Stations, s)
			}
			n.Walls = append(n.Walls, wall)
		}
		join := func(a, b int, d float64) {
			n.Stations[a].next = append(n.Stations[a].next, Way{b, d})
			n.Stations[b].next = append(n.Stations[b].next, Way{a, d})
		}
		for range 70 {
			join(r.IntN(len(n.Stations)), r.IntN(len(n.Stations)), float64(1+r.IntN(5)))
		}
		var posts []plan.Post
		for q := range 5 {
			s := n.Stations[r.IntN(len(n.Stations))]
			posts = append(posts, plan.Post{ID: fmt.Sprint("P", q), At: [2]float64{s.P.X, s.P.Y}, Side: 3})
		}
		near, away := n.nearest(lines, posts)
		for i := range n.Stations {
			want, least := -1, math.Inf(1)
			for q := range posts {
				out := make([]float64, len(n.Stations))
				for k := range out {
					out[k] = math.Inf(1)
				}
				n.away(lines, posts[q], out, nil)
				if out[i] < least {
					want, least = q, out[i]
				}
			}
			if near[i] != want || away[i] != least {
				t.Fatalf("round %d, station %d: post %d at %g, want %d at %g", round, i, near[i], away[i], want, least)
			}
		}
	}
}
