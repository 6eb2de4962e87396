package mesh

// Disjoint keeps things, numbered from 0, in disjoint sets that only grow together. The
// root of a set is its smallest member, so sets do not depend on the order of unions.
type Disjoint[T int | int32 | uint32] []T

// NewDisjoint returns n sets of one thing each.
func NewDisjoint[T int | int32 | uint32](n int) Disjoint[T] {
	d := make(Disjoint[T], n)
	for i := range d {
		d[i] = T(i)
	}
	return d
}

// Find returns the root of the set that i is in.
func (d Disjoint[T]) Find(i T) T {
	for d[i] != i {
		d[i] = d[d[i]]
		i = d[i]
	}
	return i
}

// Union makes the sets of a and b one.
func (d Disjoint[T]) Union(a, b T) {
	a, b = d.Find(a), d.Find(b)
	d[max(a, b)] = min(a, b)
}
