package mesh

import (
	"fmt"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"
)

// A FormatError reports a file that breaks the rules of its own format, or one
// that holds no solid at all.
type FormatError struct {
	File    string // as the caller named it
	Where   string // "byte 1084", "line 12", "triangle 7", "object 3"; may be empty
	Problem string
	Remedy  string // what the user can do; may be empty
	Err     error  // cause given by a library; may be nil
}

func (e *FormatError) Error() string { return oneLine(e.File, e.Where, e.Problem, e.Remedy) }

// Unwrap returns the library's own error, if there was one.
func (e *FormatError) Unwrap() error { return e.Err }

// An UnsupportedError reports a file, or a request, that may be sound but that
// this package does not handle.
type UnsupportedError struct {
	File    string
	Where   string
	Problem string
	Remedy  string
	Err     error
}

func (e *UnsupportedError) Error() string { return oneLine(e.File, e.Where, e.Problem, e.Remedy) }

// Unwrap returns the library's own error, if there was one.
func (e *UnsupportedError) Unwrap() error { return e.Err }

// A SizeError reports a part whose dimensions, in the unit it was read in, no printer
// of this kind can make, which nearly always means another unit.
type SizeError struct {
	File    string
	Where   string
	Size    r3.Vec // extents in mm
	Problem string
	Remedy  string
}

func (e *SizeError) Error() string { return oneLine(e.File, e.Where, e.Problem, e.Remedy) }

func oneLine(file, where, problem, remedy string) string {
	var b strings.Builder
	if file != "" {
		fmt.Fprintf(&b, "%s: ", file)
	}
	if where != "" {
		fmt.Fprintf(&b, "%s: ", where)
	}
	b.WriteString(problem)
	if remedy != "" {
		fmt.Fprintf(&b, "; %s", remedy)
	}
	return b.String()
}
