package main

import (
	"fmt"
	"strings"

	"falsework/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// readPair reads a part as readPart does, and the supports that belong to it: from
// a file of their own in the same frame, or from the part's if that holds both.
// Without either, supports is nil.
func readPair(partPath, supportsPath string, in inputOptions) (part, supports *mesh.Mesh, warnings []string, err error) {
	doc, err := in.read(partPath)
	if err != nil {
		return nil, nil, nil, err
	}
	if supports, err = apart(partPath, supportsPath == "", &doc); err != nil {
		return nil, nil, nil, err
	}
	if part, warnings, err = onePart(partPath, in, doc); err != nil {
		return nil, nil, nil, err
	}
	switch {
	case supportsPath == "" && supports == nil:
		return part, nil, warnings, nil
	case supportsPath == "":
		supportsPath = partPath
		supports.Round32()
	case supports != nil:
		return nil, nil, nil, &mesh.UnsupportedError{File: partPath, Problem: "holds supports of its own",
			Remedy: "leave out " + supportsPath + ", or give the part alone"}
	default:
		var more []string
		if supports, more, err = readSupports(supportsPath, in); err != nil {
			return nil, nil, nil, err
		}
		warnings = append(warnings, more...)
	}
	more, err := placeSupports(supportsPath, part, supports)
	return part, supports, append(warnings, more...), err
}

// isSupport tells whether a body of a file is declared a support, or named so.
func isSupport(b mesh.Body) bool {
	return b.Support || strings.Contains(strings.ToLower(b.Name), "support")
}

// apart takes the supports out of a 3MF file. They come as one mesh, nil if there are
// none. A file that is given alone must hold one part beside them: what is not known
// for a support would be proved as a part.
func apart(path string, alone bool, doc *mesh.Document) (*mesh.Mesh, error) {
	var supports, others []mesh.Body
	for _, b := range doc.Bodies {
		if isSupport(b) {
			supports = append(supports, b)
		} else {
			others = append(others, b)
		}
	}
	if len(others) != 1 && (alone || len(others) == 0) {
		return nil, &mesh.UnsupportedError{File: path,
			Problem: fmt.Sprintf("holds %d bodies, %d of them no supports by name or type (%s)", len(doc.Bodies), len(others),
				strings.Join(append([]string{namesOfBodies(doc.Bodies)}, doc.Notes.Skipped...), ", ")),
			Remedy: `give one part, and name its supports "supports"`}
	}
	doc.Bodies = others
	if supports == nil {
		return nil, nil
	}
	return joined(supports), nil
}

// readSupports reads supports alone, whatever the bodies of a file are called.
func readSupports(path string, in inputOptions) (m *mesh.Mesh, warnings []string, err error) {
	doc, err := in.read(path)
	if err != nil {
		return nil, nil, err
	}
	m = joined(doc.Bodies)
	m.Round32()
	for _, w := range doc.Notes.Warnings() {
		warnings = append(warnings, "supports: "+w)
	}
	return m, warnings, nil
}

// placeSupports refuses supports below the plate and warns of those that are open or
// nowhere near the part. Shells of supports may touch and cross.
func placeSupports(path string, part, supports *mesh.Mesh) (warnings []string, err error) {
	s, p := supports.Bounds(), part.Bounds()
	if z := s.Min.Z; z < -onPlate {
		return nil, &mesh.UnsupportedError{File: path, Where: fmt.Sprintf("z = %.4g mm", z),
			Problem: "the supports reach below the plate at z = 0", Remedy: "export them in the frame of the part"}
	}
	for _, w := range defects(mesh.Topology{Boundary: supports.Topology().Boundary}) {
		warnings = append(warnings, "supports: "+w)
	}
	room := r3.Vec{X: margin, Y: margin, Z: margin}
	lo, hi := r3.Sub(p.Min, room), r3.Add(p.Max, room)
	if s.Max.X < lo.X || s.Max.Y < lo.Y || s.Min.X > hi.X || s.Min.Y > hi.Y || s.Min.Z > hi.Z {
		warnings = append(warnings, "the supports are nowhere near the part; are both files in one frame?")
	}
	return warnings, nil
}
