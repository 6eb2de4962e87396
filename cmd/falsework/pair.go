package main

import (
	"fmt"
	"path/filepath"
	"strings"

	"falsework/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// readPair reads a part as readPart does, and the supports that belong to it: from
// a file of their own in the same frame, or from the part's if that is 3MF. Without
// either, supports is nil.
func readPair(partPath, supportsPath string) (part, supports *mesh.Mesh, warnings []string, err error) {
	if strings.EqualFold(filepath.Ext(partPath), ".3mf") {
		doc, err := mesh.Read3MF(partPath)
		if err != nil {
			return nil, nil, nil, fileError(partPath, err)
		}
		if part, supports, err = apart(partPath, doc.Bodies); err != nil {
			return nil, nil, nil, err
		}
		warnings, err = settle(partPath, part, doc.Notes)
		if err != nil {
			return nil, nil, nil, err
		}
	} else if part, warnings, err = readPart(partPath); err != nil {
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
		if supports, more, err = readSupports(supportsPath); err != nil {
			return nil, nil, nil, err
		}
		warnings = append(warnings, more...)
	}
	more, err := placeSupports(supportsPath, part, supports)
	return part, supports, append(warnings, more...), err
}

// apart tells the part from the supports among the bodies of a 3MF file: these
// are declared so, or named so. They come as one mesh, nil if there are none.
func apart(path string, bodies []mesh.Body) (part, supports *mesh.Mesh, err error) {
	parts := 0
	for _, b := range bodies {
		if b.Support || strings.Contains(strings.ToLower(b.Name), "support") {
			if supports == nil {
				supports = &mesh.Mesh{}
			}
			supports.Append(b.Mesh)
			continue
		}
		part = b.Mesh
		parts++
	}
	if parts != 1 {
		return nil, nil, &mesh.UnsupportedError{File: path,
			Problem: fmt.Sprintf("holds %d bodies, %d of them no supports by name or type", len(bodies), parts),
			Remedy:  `give one part, and name its supports "supports"`}
	}
	return part, supports, nil
}

// readSupports reads supports alone, whatever the bodies of a 3MF file are called.
func readSupports(path string) (m *mesh.Mesh, warnings []string, err error) {
	var notes mesh.Notes
	if strings.EqualFold(filepath.Ext(path), ".3mf") {
		var doc mesh.Document
		doc, err = mesh.Read3MF(path)
		m, notes = &mesh.Mesh{}, doc.Notes
		for _, b := range doc.Bodies {
			m.Append(b.Mesh)
		}
	} else {
		m, notes, err = mesh.ReadSTL(path)
	}
	if err != nil {
		return nil, nil, fileError(path, err)
	}
	m.Round32()
	for _, w := range notes.Warnings() {
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
