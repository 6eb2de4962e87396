package mesh

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"unicode/utf8"
)

// Bounds on a model's XML: no document that a program writes comes near them.
const (
	maxTag        = 1 << 20 // bytes of a tag, comment or instruction
	maxText       = 1 << 20 // bytes of text that is kept
	maxNesting    = 100     // elements inside one another
	maxAttributes = 100
)

// xmlKind is what xmlScanner.next found.
type xmlKind int

const (
	xmlEnd   xmlKind = iota // of the document
	xmlOpen                 // a start tag, or an empty element, which xmlClose follows
	xmlClose                // an end tag
	xmlText
)

// xmlAttribute is an attribute as written, its references resolved.
type xmlAttribute struct{ name, value []byte }

// xmlScanner reads the XML 1.0 of a 3MF model as a stream, in constant memory:
// elements, attributes, namespaces, text. It refuses document type declarations,
// as the 3MF Core Specification does, and with them every entity but the five of
// XML. Slices that it hands out are good until next is called.
type xmlScanner struct {
	r        io.Reader
	buf      []byte
	at, have int   // the unread part of buf
	base     int64 // bytes of the document before buf
	done     bool  // r has no more

	name   []byte // of the tag
	attrs  []xmlAttribute
	text   []byte
	empty  bool // an empty element was opened and not closed
	inside bool // the root was opened

	open   []string // names of open elements
	spaces []xmlSpace
	core   bool // the default namespace is that of the core specification
}

// xmlSpace is a namespace declared by an open element.
type xmlSpace struct {
	depth       int
	prefix, uri string
}

func newXMLScanner(r io.Reader) *xmlScanner {
	return &xmlScanner{r: r, buf: make([]byte, 1<<16)}
}

// offset is where the scanner is in the document, in bytes.
func (x *xmlScanner) offset() int64 { return x.base + int64(x.at) }

// fill reads on, keeping what is unread. It returns false at the end.
func (x *xmlScanner) fill() (bool, error) {
	if x.done {
		return false, nil
	}
	if x.at > 0 {
		copy(x.buf, x.buf[x.at:x.have])
		x.base += int64(x.at)
		x.have -= x.at
		x.at = 0
	}
	if x.have == len(x.buf) {
		if len(x.buf) > maxTag {
			return false, fmt.Errorf("something longer than %d bytes has no end", maxTag)
		}
		x.buf = append(x.buf, make([]byte, len(x.buf))...)
	}
	for range 100 { // a reader may give nothing for a while
		n, err := x.r.Read(x.buf[x.have:])
		x.have += n
		if err == io.EOF {
			x.done = true
			return n > 0, nil
		}
		if err != nil {
			return false, err
		}
		if n > 0 {
			return true, nil
		}
	}
	return false, io.ErrNoProgress
}

// until returns the bytes up to the end of the first mark from skip on, read or
// not, without going past them.
func (x *xmlScanner) until(mark string, skip int) ([]byte, error) {
	for from := skip; ; {
		if unread := x.buf[x.at:x.have]; len(unread) > from {
			if i := bytes.Index(unread[from:], []byte(mark)); i >= 0 {
				return unread[:from+i+len(mark)], nil
			}
			from = max(skip, len(unread)-len(mark)+1)
		}
		more, err := x.fill()
		if err != nil {
			return nil, err
		}
		if !more {
			return nil, io.ErrUnexpectedEOF
		}
	}
}

// tag returns the whole tag that begins here, looking past quoted values.
func (x *xmlScanner) tag() ([]byte, error) {
	quote := byte(0)
	for i := 1; ; {
		unread := x.buf[x.at:x.have]
		for ; i < len(unread); i++ {
			switch c := unread[i]; {
			case quote != 0:
				if c == quote {
					quote = 0
				}
			case c == '"' || c == '\'':
				quote = c
			case c == '>':
				return unread[:i+1], nil
			case c == '<':
				return nil, errors.New("a tag begins inside a tag")
			}
		}
		more, err := x.fill()
		if err != nil {
			return nil, err
		}
		if !more {
			return nil, io.ErrUnexpectedEOF
		}
	}
}

// next goes on to the next token. At the end of a document that is not complete it
// returns io.ErrUnexpectedEOF.
func (x *xmlScanner) next() (xmlKind, error) {
	if x.empty {
		x.empty = false
		x.pop()
		return xmlClose, nil
	}
	for {
		if x.at == x.have {
			if more, err := x.fill(); err != nil {
				return xmlEnd, err
			} else if !more {
				if !x.inside || len(x.open) > 0 {
					return xmlEnd, io.ErrUnexpectedEOF
				}
				return xmlEnd, nil
			}
		}
		if x.base == 0 && x.at == 0 {
			if err := x.begin(); err != nil {
				return xmlEnd, err
			}
		}
		if x.at == x.have {
			continue
		}
		if x.buf[x.at] != '<' {
			if kept, err := x.chars(); err != nil || kept {
				return xmlText, err
			}
			continue
		}
		for x.have-x.at < len("<![CDATA[") && !x.done {
			if _, err := x.fill(); err != nil {
				return xmlEnd, err
			}
		}
		switch unread := x.buf[x.at:x.have]; {
		case bytes.HasPrefix(unread, []byte("<!--")):
			all, err := x.until("-->", len("<!--"))
			if err != nil {
				return xmlEnd, err
			}
			x.at += len(all)
		case bytes.HasPrefix(unread, []byte("<?")):
			all, err := x.until("?>", 2)
			if err != nil {
				return xmlEnd, err
			}
			x.at += len(all)
		case bytes.HasPrefix(unread, []byte("<![CDATA[")):
			all, err := x.until("]]>", len("<![CDATA["))
			if err != nil {
				return xmlEnd, err
			}
			if len(x.open) == 0 {
				return xmlEnd, errors.New("text outside of the model")
			}
			x.text = append(x.text[:0], all[len("<![CDATA["):len(all)-len("]]>")]...)
			x.at += len(all)
			return xmlText, nil
		case bytes.HasPrefix(unread, []byte("<!")):
			return xmlEnd, errors.New("a document type declaration, which 3MF forbids")
		case bytes.HasPrefix(unread, []byte("</")):
			tag, err := x.tag()
			if err != nil {
				return xmlEnd, err
			}
			name := bytes.TrimRight(tag[2:len(tag)-1], " \t\r\n")
			if len(x.open) == 0 || x.open[len(x.open)-1] != string(name) {
				return xmlEnd, fmt.Errorf("</%.40s> closes what is not open", name)
			}
			x.at += len(tag)
			x.pop()
			return xmlClose, nil
		default:
			tag, err := x.tag()
			if err != nil {
				return xmlEnd, err
			}
			if err := x.openTag(tag); err != nil {
				return xmlEnd, err
			}
			x.at += len(tag)
			return xmlOpen, nil
		}
	}
}

// begin passes over a byte order mark, and has UTF-16 read as UTF-8.
func (x *xmlScanner) begin() error {
	for x.have < 4 && !x.done {
		if _, err := x.fill(); err != nil {
			return err
		}
	}
	if order := utf16Of(x.buf[:x.have]); order != nil {
		x.r = &utf16Reader{r: io.MultiReader(bytes.NewReader(bytes.Clone(x.buf[:x.have])), x.r), order: order}
		x.have, x.done = 0, false
		for x.have < 3 && !x.done {
			if _, err := x.fill(); err != nil {
				return err
			}
		}
	}
	if bytes.HasPrefix(x.buf[:x.have], []byte("\xEF\xBB\xBF")) {
		x.at = 3
	}
	return nil
}

// chars reads text up to the next tag. It returns false where there is nothing to
// keep: only white space, or text outside of the root.
func (x *xmlScanner) chars() (bool, error) {
	x.text = x.text[:0]
	blank := true
	for {
		unread := x.buf[x.at:x.have]
		end := bytes.IndexByte(unread, '<')
		if end < 0 {
			end = len(unread)
		}
		blank = blank && len(bytes.TrimLeft(unread[:end], " \t\r\n")) == 0
		if !blank {
			if len(x.open) == 0 {
				return false, errors.New("text outside of the model")
			}
			if len(x.text)+end > maxText {
				return false, fmt.Errorf("a text longer than %d bytes", maxText)
			}
			x.text = append(x.text, unread[:end]...)
		}
		x.at += end
		if x.at < x.have {
			break
		}
		if more, err := x.fill(); err != nil {
			return false, err
		} else if !more {
			break
		}
	}
	if blank {
		return false, nil
	}
	var err error
	x.text, err = resolved(x.text)
	return true, err
}

// openTag takes a start tag apart.
func (x *xmlScanner) openTag(tag []byte) error {
	if len(x.open) == 0 && x.inside {
		return errors.New("more follows the model")
	}
	body := tag[1 : len(tag)-1]
	x.empty = bytes.HasSuffix(body, []byte("/"))
	if x.empty {
		body = body[:len(body)-1]
	}
	n := nameLength(body)
	if n == 0 {
		return fmt.Errorf("%.40q is no tag", tag)
	}
	x.name, body = body[:n], body[n:]
	x.attrs = x.attrs[:0]
	spaced := false
	for {
		rest := trimSpace(body)
		if len(rest) == 0 {
			break
		}
		n := nameLength(rest)
		if n == 0 || len(rest) == len(body) {
			return fmt.Errorf("%.40q is no attribute", rest)
		}
		a := xmlAttribute{name: rest[:n]}
		rest = trimSpace(rest[n:])
		if len(rest) < 2 || rest[0] != '=' {
			return fmt.Errorf("the attribute %.40s has no value", a.name)
		}
		rest = trimSpace(rest[1:])
		if len(rest) < 2 || rest[0] != '"' && rest[0] != '\'' {
			return fmt.Errorf("the value of %.40s is not quoted", a.name)
		}
		end := bytes.IndexByte(rest[1:], rest[0])
		if end < 0 {
			return fmt.Errorf("the value of %.40s is not quoted", a.name)
		}
		var err error
		if a.value, err = resolved(rest[1 : 1+end]); err != nil {
			return fmt.Errorf("the value of %.40s: %w", a.name, err)
		}
		if bytes.IndexByte(rest[1:1+end], '<') >= 0 {
			return fmt.Errorf("the value of %.40s holds a tag", a.name)
		}
		for i := range x.attrs {
			if bytes.Equal(x.attrs[i].name, a.name) {
				return fmt.Errorf("the attribute %.40s stands twice", a.name)
			}
		}
		if len(x.attrs) == maxAttributes {
			return fmt.Errorf("more than %d attributes", maxAttributes)
		}
		spaced = spaced || bytes.HasPrefix(a.name, []byte("xmlns"))
		x.attrs = append(x.attrs, a)
		body = rest[2+end:]
	}
	if len(x.open) == maxNesting {
		return fmt.Errorf("elements nest deeper than %d", maxNesting)
	}
	x.inside = true
	name := coreNames[string(x.name)] // names repeat by the million
	if name == "" {
		name = string(x.name)
	}
	x.open = append(x.open, name)
	if !spaced {
		return nil
	}
	for _, a := range x.attrs {
		switch {
		case string(a.name) == "xmlns":
			x.spaces = append(x.spaces, xmlSpace{len(x.open), "", string(a.value)})
		case bytes.HasPrefix(a.name, []byte("xmlns:")):
			x.spaces = append(x.spaces, xmlSpace{len(x.open), string(a.name[len("xmlns:"):]), string(a.value)})
		}
	}
	x.core = x.space("") == coreSpace
	return nil
}

// pop closes the innermost element.
func (x *xmlScanner) pop() {
	n := len(x.spaces)
	for n > 0 && x.spaces[n-1].depth == len(x.open) {
		n--
	}
	x.open = x.open[:len(x.open)-1]
	if n < len(x.spaces) {
		x.spaces = x.spaces[:n]
		x.core = x.space("") == coreSpace
	}
}

// space returns the namespace of a prefix, empty if it is not declared.
func (x *xmlScanner) space(prefix string) string {
	for i := len(x.spaces) - 1; i >= 0; i-- {
		if x.spaces[i].prefix == prefix {
			return x.spaces[i].uri
		}
	}
	return ""
}

// coreNames are the elements of the core specification that are read.
var coreNames = map[string]string{
	"model": "model", "metadata": "metadata", "metadatagroup": "metadatagroup", "resources": "resources", "object": "object",
	"mesh": "mesh", "vertices": "vertices", "vertex": "vertex", "triangles": "triangles", "triangle": "triangle",
	"components": "components", "component": "component", "build": "build", "item": "item",
}

// element returns the local name of the tag if it is one of the core specification
// that is read, else nothing.
func (x *xmlScanner) element() string {
	i := bytes.IndexByte(x.name, ':')
	if i < 0 && x.core || i > 0 && x.space(string(x.name[:i])) == coreSpace {
		return coreNames[string(x.name[i+1:])]
	}
	return ""
}

// of tells whether the tag is of a namespace.
func (x *xmlScanner) of(uri string) bool {
	prefix := ""
	if i := bytes.IndexByte(x.name, ':'); i > 0 {
		prefix = string(x.name[:i])
	}
	return x.space(prefix) == uri
}

// attr returns the value of an attribute without a namespace, nil without one.
func (x *xmlScanner) attr(name string) []byte {
	for i := range x.attrs {
		if string(x.attrs[i].name) == name {
			return x.attrs[i].value
		}
	}
	return nil
}

// attrOf returns the value of an attribute of a namespace.
func (x *xmlScanner) attrOf(uri, name string) []byte {
	for i := range x.attrs {
		prefix, local, found := bytes.Cut(x.attrs[i].name, []byte(":"))
		if found && string(local) == name && x.space(string(prefix)) == uri {
			return x.attrs[i].value
		}
	}
	return nil
}

func trimSpace(b []byte) []byte {
	i := 0
	for i < len(b) && (b[i] == ' ' || b[i] == '\t' || b[i] == '\n' || b[i] == '\r') {
		i++
	}
	return b[i:]
}

// nameLength returns how many bytes a name at the beginning of b takes.
func nameLength(b []byte) int {
	for i, c := range b {
		letter := c|0x20 >= 'a' && c|0x20 <= 'z' || c == '_' || c >= utf8.RuneSelf
		if !letter && (i == 0 || !(c >= '0' && c <= '9' || c == '-' || c == '.' || c == ':')) {
			return i
		}
	}
	return len(b)
}

// resolved puts characters in the place of references. Text without any comes back
// as it is.
func resolved(b []byte) ([]byte, error) {
	if bytes.IndexByte(b, '&') < 0 {
		return b, nil
	}
	out := make([]byte, 0, len(b))
	for {
		i := bytes.IndexByte(b, '&')
		if i < 0 {
			return append(out, b...), nil
		}
		out = append(out, b[:i]...)
		end := bytes.IndexByte(b[i:], ';')
		if end < 0 {
			return nil, fmt.Errorf("%.20q is no reference", b[i:])
		}
		name := string(b[i+1 : i+end])
		b = b[i+end+1:]
		switch k := slices.Index([]string{"amp", "lt", "gt", "quot", "apos"}, name); {
		case k >= 0:
			out = append(out, `&<>"'`[k])
		default:
			r, err := referenced(name)
			if err != nil {
				return nil, err
			}
			out = utf8.AppendRune(out, r)
		}
	}
}

// referenced reads a reference by number, such as #10 or #x0A.
func referenced(name string) (rune, error) {
	digits, base := name, 10
	if len(name) > 1 && name[0] == '#' {
		digits = name[1:]
		if digits[0] == 'x' {
			digits, base = digits[1:], 16
		}
		if n, err := strconv.ParseUint(digits, base, 21); err == nil && utf8.ValidRune(rune(n)) && (n >= ' ' || n == '\t' || n == '\n' || n == '\r') {
			return rune(n), nil
		}
	}
	return 0, fmt.Errorf("&%.20s; is no reference", name)
}
