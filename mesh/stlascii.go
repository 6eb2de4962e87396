package mesh

import (
	"bytes"
	"fmt"
	"strings"

	"github.com/hschendel/stl"
)

// The library's ASCII parser takes lower-case keywords and one solid a file,
// recurses over blank lines, and allocates a scanner's buffer for each line. So
// the text is handed to it in pieces of whole facets, keywords in lower case
// and words packed into long lines, each piece dressed as a solid. When a piece
// is refused it is handed over again word by word to find the line.
const (
	asciiPiece = 1 << 20 // bytes of one piece
	asciiLine  = 4000    // bytes of one packed line, just under a scanner's first buffer
	asciiWord  = 256     // longest word; numbers have at most 50 digits or so
)

// textWords walks over the words of an ASCII file.
type textWords struct {
	text []byte
	pos  int
	line int // of the word last returned, from 1
}

// next returns the next word, or nil at the end.
func (t *textWords) next() []byte {
	for t.pos < len(t.text) && isSpace(t.text[t.pos]) {
		t.newline()
		t.pos++
	}
	from := t.pos
	for t.pos < len(t.text) && !isSpace(t.text[t.pos]) {
		t.pos++
	}
	if from == t.pos {
		return nil
	}
	return t.text[from:t.pos]
}

// newline counts a line end at pos: LF, CR LF, or a lone CR.
func (t *textWords) newline() {
	c := t.text[t.pos]
	if c == '\n' && (t.pos == 0 || t.text[t.pos-1] != '\r') || c == '\r' {
		t.line++
	}
}

// rest returns what is left of the line.
func (t *textWords) rest() string {
	from := t.pos
	for t.pos < len(t.text) && t.text[t.pos] != '\n' && t.text[t.pos] != '\r' {
		t.pos++
	}
	return strings.TrimSpace(string(t.text[from:t.pos]))
}

// asciiReader feeds pieces to the library.
type asciiReader struct {
	file   string
	into   *collector
	packed bytes.Buffer
	words  [][]byte
	lines  []int // line of each word
	size   int
}

func decodeASCIISTL(name string, data []byte) (*Mesh, Notes, error) {
	notes := Notes{Format: "ASCII STL"}
	words := textWords{text: bytes.TrimPrefix(data, []byte("\xEF\xBB\xBF")), line: 1}
	r := asciiReader{file: name, into: &collector{welder: newWelder(len(data) / 250)}}
	inSolid := false
	opened := 0
	for w := words.next(); w != nil; w = words.next() {
		switch {
		case !inSolid && hasKeyword(w, "solid"):
			inSolid, opened = true, words.line
			if s := words.rest(); s != "" {
				notes.Names = append(notes.Names, s)
			}
		case !inSolid:
			return nil, notes, &FormatError{File: name, Where: fmt.Sprintf("line %d", words.line),
				Problem: fmt.Sprintf(`"solid" expected, found %q`, clip(w)), Remedy: "export the part again"}
		case hasKeyword(w, "endsolid"):
			words.rest()
			inSolid = false
			if err := r.flush(); err != nil {
				return nil, notes, err
			}
		default:
			if r.size > asciiPiece && hasKeyword(w, "facet") || r.size > 2*asciiPiece {
				if err := r.flush(); err != nil {
					return nil, notes, err
				}
			}
			if len(w) > asciiWord {
				return nil, notes, &FormatError{File: name, Where: fmt.Sprintf("line %d", words.line),
					Problem: fmt.Sprintf("a word of %d letters: %q", len(w), clip(w)), Remedy: "export the part again"}
			}
			r.words = append(r.words, w)
			r.lines = append(r.lines, words.line)
			r.size += len(w) + 1
		}
	}
	if inSolid {
		// A facet cut in two is found first, if there is one.
		if err := r.flush(); err != nil {
			return nil, notes, err
		}
		return nil, notes, &FormatError{File: name, Where: fmt.Sprintf("line %d", words.line),
			Problem: fmt.Sprintf(`the file ends inside the solid of line %d, without "endsolid"; it is cut short`, opened),
			Remedy:  "export or download it again"}
	}
	notes.Facets, notes.Dropped = r.into.count, r.into.dropped
	return r.into.finish(), notes, nil
}

func clip(w []byte) []byte { return w[:min(len(w), 40)] }

// flush parses the words gathered so far.
func (r *asciiReader) flush() error {
	if len(r.words) == 0 {
		return nil
	}
	before := r.into.count
	if err := r.parse(r.into, asciiLine); err != nil {
		return r.locate(err)
	}
	if r.into.bad > 0 {
		// Facets are well formed here, so the corner is in the facet's own place.
		facet := -1
		for i, w := range r.words {
			if hasKeyword(w, "facet") {
				before++
				if before == r.into.bad {
					facet = i
					break
				}
			}
		}
		where := fmt.Sprintf("triangle %d", r.into.bad)
		if facet >= 0 {
			where += fmt.Sprintf(" at line %d", r.lines[facet])
		}
		return r.into.notFinite(r.file, where)
	}
	if r.into.count > MaxTriangles {
		return tooMany(r.file, int64(r.into.count))
	}
	r.words, r.lines, r.size = r.words[:0], r.lines[:0], 0
	return nil
}

// parse hands the words to the library in lines of up to width bytes.
func (r *asciiReader) parse(into stl.Writer, width int) error {
	b := &r.packed
	b.Reset()
	b.WriteString("solid piece\n")
	line := 0
	for _, w := range r.words {
		if line > 0 && line+len(w) >= width {
			b.WriteByte('\n')
			line = 0
		}
		if line > 0 {
			b.WriteByte(' ')
		}
		for _, c := range w {
			if 'A' <= c && c <= 'Z' {
				c += 'a' - 'A'
			}
			b.WriteByte(c)
		}
		line += len(w) + 1
	}
	b.WriteString("\nendsolid\n")
	return stl.CopyAll(bytes.NewReader(b.Bytes()), into)
}

// locate turns the library's refusal of a piece into an error with a line.
func (r *asciiReader) locate(refusal error) error {
	e := &FormatError{File: r.file, Where: fmt.Sprintf("line %d", r.lines[0]),
		Problem: firstLine(refusal), Remedy: "export the part again", Err: refusal}
	again := r.parse(&collector{welder: newWelder(0)}, 1)
	if again == nil {
		return e
	}
	// The library's messages read "12: what it expected", after a summary line.
	for _, s := range strings.Split(again.Error(), "\n") {
		var line int
		number, what, ok := strings.Cut(s, ": ")
		if _, err := fmt.Sscanf(number, "%d", &line); !ok || err != nil {
			continue
		}
		if what == "Unable to parse float" {
			what = "a number that float32 can hold expected"
		}
		i := line - 2 // the header took line 1
		switch {
		case i >= len(r.words):
			e.Where = fmt.Sprintf("line %d", r.lines[len(r.lines)-1])
			e.Problem = "the facet is not complete: " + what
		case i >= 0:
			e.Where = fmt.Sprintf("line %d", r.lines[i])
			e.Problem = fmt.Sprintf("%s, found %q", what, clip(r.words[i]))
		}
		break
	}
	return e
}
