package plan

import (
	"regexp"
	"slices"
	"strings"

	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/token"
)

// Update returns a document's text changed to say what p says. What it said already
// stays as it is written, byte for byte, and all comments are kept: those of an
// entry that changes with the entry, those of one that goes where it stood. The
// text must be a document that Decode reads.
func Update(text []byte, p Plan) ([]byte, error) {
	p.Version = Version
	if err := p.Validate(); err != nil {
		return nil, err
	}
	old, _, err := read("the plan", text)
	if err != nil {
		return nil, err
	}
	out := edit(string(text), old, p)
	// Whatever way of writing YAML the edit did not understand, the document is
	// right or it is written anew.
	if got, _, err := read("the plan", []byte(out)); err == nil && same(got, p) && !lost(string(text), out) {
		return []byte(out), nil
	}
	fresh, err := p.Encode()
	if err != nil {
		return nil, err
	}
	var kept []string
	for _, c := range comments(string(text)) {
		if !strings.Contains(header+memory, "#"+c) {
			kept = append(kept, "#"+c+"\n")
		}
	}
	return append([]byte(strings.Join(kept, "")), fresh...), nil
}

// same tells whether two plans say the same; none and an empty list do.
func same(a, b Plan) bool {
	x, y := a.sections(), b.sections()
	for i := range x {
		if !slices.Equal(x[i].text(), y[i].text()) {
			return false
		}
	}
	return true
}

// comments returns what follows the # of every comment.
func comments(text string) []string {
	var out []string
	for _, t := range lexer.Tokenize(text) {
		if t.Type == token.CommentType {
			out = append(out, strings.TrimRight(t.Value, "\r"))
		}
	}
	return out
}

// lost tells whether a comment of the one text is not in the other.
func lost(from, to string) bool {
	left := map[string]int{}
	for _, c := range comments(to) {
		left[c]++
	}
	for _, c := range comments(from) {
		if left[c]--; left[c] < 0 {
			return true
		}
	}
	return false
}

// block is the lines of one top-level key.
type block struct {
	key   string // of what stands before the first key, empty
	lines []string
}

var topKey = regexp.MustCompile(`^([A-Za-z_]+):(\s|$)`)

// blocks splits a document at its top-level keys. Comments and empty lines right
// above a key go with it.
func blocks(lines []string) []block {
	out := []block{{}}
	for _, l := range lines {
		last := &out[len(out)-1]
		if m := topKey.FindStringSubmatch(l); m != nil {
			b := block{key: m[1]}
			n := len(last.lines)
			for n > 0 && blank(last.lines[n-1]) && !strings.HasPrefix(last.lines[n-1], " ") {
				n--
			}
			if last.key == "" {
				n = len(last.lines) // the document's own head
			}
			b.lines = append(slices.Clone(last.lines[n:]), l)
			last.lines = last.lines[:n:n]
			out = append(out, b)
			continue
		}
		last.lines = append(last.lines, l)
	}
	return out
}

// blank tells whether a line holds no more than a comment.
func blank(l string) bool {
	l = strings.TrimSpace(l)
	return l == "" || l[0] == '#'
}

// edit changes the sections of a text in which two plans differ.
func edit(text string, old, p Plan) string {
	end := "\n"
	if strings.Contains(text, "\r\n") {
		end = "\r\n"
		text = strings.ReplaceAll(text, "\r\n", "\n")
	}
	parts := blocks(strings.Split(strings.TrimSuffix(text, "\n"), "\n"))
	was, now := old.sections(), p.sections()
	for i, s := range now {
		at := slices.IndexFunc(parts, func(b block) bool { return b.key == s.key })
		if at < 0 {
			if lines := s.text(); len(lines) > 0 {
				if s.key == "drawn" {
					lines = append(strings.Split(strings.TrimSuffix(memory, "\n"), "\n"), lines...)
				}
				parts = slices.Insert(parts, place(parts, now[:i]), block{s.key, lines})
			}
			continue
		}
		b := &parts[at]
		if s.key != "falsework" && slices.Equal(was[i].text(), s.text()) {
			continue
		}
		head := 0
		for head < len(b.lines) && blank(b.lines[head]) {
			head++
		}
		var body []string
		switch {
		case len(s.items) > 0 && len(was[i].items) > 0:
			body = entries(b.lines[head:], was[i], s)
		case len(s.map_) > 0:
			body = mapping(b.lines[head:], s)
		default:
			body = whole(b.lines[head:], s.text())
		}
		b.lines = append(b.lines[:head:head], body...)
	}
	var lines []string
	for _, b := range parts {
		lines = append(lines, b.lines...)
	}
	return strings.Join(lines, end) + end
}

// place returns where a new section goes: after the last of those before it.
func place(parts []block, before []section) int {
	at := len(parts)
	for _, s := range before {
		if i := slices.IndexFunc(parts, func(b block) bool { return b.key == s.key }); i >= 0 {
			at = i + 1
		}
	}
	return at
}

// whole puts new lines in place of old ones, of which only the comments stay.
func whole(old, fresh []string) []string {
	var kept []string
	for n, l := range old {
		switch c := tail(l); {
		case blank(l):
			kept = append(kept, l)
		case c != "" && n == 0 && len(fresh) > 0:
			fresh = append([]string{fresh[0] + c}, fresh[1:]...)
		case c != "":
			kept = append(kept, "  "+strings.TrimSpace(c))
		}
	}
	if len(fresh) == 0 {
		return kept
	}
	return append(fresh[:1:1], append(kept, fresh[1:]...)...)
}

// tail returns the comment at the end of a line that holds more, with the space
// before it.
func tail(l string) string {
	if blank(l) {
		return ""
	}
	quote := byte(0)
	for i := 0; i < len(l); i++ {
		switch c := l[i]; {
		case quote == '"' && c == '\\':
			i++
		case quote != 0:
			if c == quote {
				quote = 0
			}
		case c == '"' || c == '\'':
			quote = c
		case c == '#' && i > 0 && (l[i-1] == ' ' || l[i-1] == '\t'):
			return l[len(strings.TrimRight(l[:i], " \t")):]
		}
	}
	return ""
}

var entryKey = regexp.MustCompile(`^\s*(?:-\s+)?([A-Za-z_0-9]+):(\s|$)`)

// graft writes fields with the comments that old lines of the same keys had. lead
// goes before the first and indent before the others.
func graft(old []string, list []field, lead, indent string) []string {
	above, beside := map[string][]string{}, map[string]string{}
	var loose []string
	key := ""
	for _, l := range old {
		if blank(l) {
			loose = append(loose, l)
			continue
		}
		if m := entryKey.FindStringSubmatch(l); m != nil {
			key = m[1]
			above[key] = append(above[key], loose...)
			loose = nil
		}
		if c := tail(l); c != "" {
			if beside[key] == "" {
				beside[key] = c
			} else {
				above[key] = append(above[key], indent+strings.TrimSpace(c))
			}
		}
	}
	var out []string
	for i, f := range list {
		if i > 0 {
			lead = indent
		}
		out = append(out, above[f.key]...)
		out = append(out, lead+f.key+": "+f.value+beside[f.key])
		delete(above, f.key)
		delete(beside, f.key)
	}
	// Of keys that are gone, in the order in which they stood.
	for _, l := range old {
		if m := entryKey.FindStringSubmatch(l); m != nil {
			out = append(out, above[m[1]]...)
			if c := beside[m[1]]; c != "" {
				out = append(out, indent+strings.TrimSpace(c))
			}
			delete(above, m[1])
			delete(beside, m[1])
		}
	}
	return append(out, loose...)
}

// mapping rewrites a section that is a mapping.
func mapping(lines []string, s section) []string {
	return append([]string{s.key + ":" + tail(lines[0])}, graft(lines[1:], s.map_, "  ", "  ")...)
}

// entry is one item of a list as it is written, and the comments above it.
type entry struct{ above, lines []string }

// entries rewrites a section that is a list: what both have stays as it is written.
func entries(lines []string, was, now section) []string {
	list, after, ok := split(lines[1:])
	if !ok || len(list) != len(was.items) {
		return whole(lines, now.text())
	}
	written := map[string]int{}
	for i, id := range was.ids {
		written[id] = i
	}
	indent := list[0].lines[0][:strings.Index(list[0].lines[0], "-")]
	out := lines[:1:1]
	kept := map[int]bool{}
	for i, id := range now.ids {
		if n, ok := written[id]; ok {
			kept[n] = true
			out = append(out, list[n].above...)
			if slices.Equal(was.items[n], now.items[i]) {
				out = append(out, list[n].lines...)
			} else {
				out = append(out, graft(list[n].lines, now.items[i], indent+"- ", indent+"  ")...)
			}
			// What stood after it and is gone leaves its comments here.
			for n++; n < len(list) && !slices.Contains(now.ids, was.ids[n]); n++ {
				out = append(out, left(list[n], indent)...)
				kept[n] = true
			}
			continue
		}
		for _, l := range item(now.items[i]) {
			out = append(out, indent+strings.TrimPrefix(l, "  "))
		}
	}
	for n := range list {
		if !kept[n] {
			out = append(out, left(list[n], indent)...)
		}
	}
	return append(out, after...)
}

// left returns the comments of an entry that is gone.
func left(e entry, indent string) []string {
	var out []string
	for _, l := range slices.Concat(e.above, e.lines) {
		if c := tail(l); c != "" {
			out = append(out, indent+strings.TrimSpace(c))
		} else if blank(l) && strings.TrimSpace(l) != "" {
			out = append(out, l)
		}
	}
	return out
}

// split takes a list apart at its dashes; it is not ok where it is written some
// other way.
func split(lines []string) (list []entry, after []string, ok bool) {
	indent := -1
	var loose []string
	for _, l := range lines {
		if blank(l) {
			loose = append(loose, l)
			continue
		}
		trimmed := strings.TrimLeft(l, " ")
		in := len(l) - len(trimmed)
		dash := trimmed == "-" || strings.HasPrefix(trimmed, "- ")
		if indent < 0 {
			indent = in
		}
		switch {
		case dash && in == indent:
			list = append(list, entry{above: loose, lines: []string{l}})
		case in > indent && len(list) > 0:
			last := &list[len(list)-1]
			last.lines = append(last.lines, append(loose, l)...)
		default:
			return nil, nil, false
		}
		loose = nil
	}
	return list, loose, len(list) > 0
}
