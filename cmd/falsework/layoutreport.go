package main

import (
	"fmt"

	"falsework/supports/layout"
	"falsework/supports/plan"
)

// layoutReport is what layout prints with --json. Its fields stay what they are;
// more may come.
type layoutReport struct {
	Part     partReport    `json:"part"`
	Plan     planReport    `json:"plan"`
	Changes  []plan.Change `json:"changes"`
	Bare     []bareReport  `json:"bare"` // the largest first
	Seconds  layoutSeconds `json:"seconds"`
	Warnings []string      `json:"warnings"`
}

// planReport is a plan in numbers.
type planReport struct {
	File    string `json:"file"`
	Written bool   `json:"written"` // it changed
	Lines   int    `json:"lines"`
	Posts   int    `json:"posts"`
	Sheets  int    `json:"sheets"`
	Steps   int    `json:"steps"`
	Zones   int    `json:"zones"`
	Struck  int    `json:"struck"`
	Yours   int    `json:"yours"` // structures by the designer

	ContactMM float64 `json:"contact_length_mm"` // of lines under level ceilings
	BoundMM   float64 `json:"contact_bound_mm"`  // that no plan can do with less than
}

// bareReport is a spot that the plan leaves bare, and why.
type bareReport struct {
	AtMM    [3]float64 `json:"at_mm"`
	AreaMM2 float64    `json:"area_mm2"`
	Because string     `json:"because"` // id of a zone or structure, or empty
	Why     string     `json:"why"`
}

func bareOf(spots []layout.Spot) []bareReport {
	out := []bareReport{}
	for _, s := range spots {
		out = append(out, bareReport{AtMM: [3]float64{to(s.At.X, 3), to(s.At.Y, 3), to(s.At.Z, 3)},
			AreaMM2: to(s.AreaMM2, 4), Because: s.Because, Why: s.Why})
	}
	return out
}

// mostChanges and mostSpots bound the lines of a summary.
const mostChanges, mostSpots = 20, 8

func (l *laying) report() layoutReport {
	r := layoutReport{
		Part: partOf(stem(l.o.part), l.part),
		Plan: planReport{
			File: l.o.plan, Written: string(l.fresh) != string(l.text),
			Lines: len(l.plan.Lines), Posts: len(l.plan.Posts), Zones: len(l.plan.Zones),
			Sheets: len(l.plan.Sheets), Steps: len(l.plan.Steps), Struck: l.plan.Struck.Count(),
		},
		Changes: append([]plan.Change{}, plan.Diff(l.was, l.plan)...),
		Bare:    bareOf(l.bare), Seconds: l.seconds, Warnings: append([]string{}, l.warnings...),
	}
	contact := layout.ContactUnder(l.plan, l.layers, l.need, l.settings)
	r.Plan.ContactMM, r.Plan.BoundMM = to(contact.LengthMM, 1), to(contact.BoundMM, 1)
	for _, one := range l.plan.Lines {
		if one.By == plan.Designer {
			r.Plan.Yours++
		}
	}
	for _, one := range l.plan.Posts {
		if one.By == plan.Designer {
			r.Plan.Yours++
		}
	}
	for _, one := range l.plan.Sheets {
		if one.By == plan.Designer {
			r.Plan.Yours++
		}
	}
	for _, one := range l.plan.Steps {
		if one.By == plan.Designer {
			r.Plan.Yours++
		}
	}
	for _, s := range []*float64{&r.Seconds.Read, &r.Seconds.Need, &r.Seconds.Layout, &r.Seconds.Write} {
		*s = to(*s, 4)
	}
	return r
}

// tell prints the result and returns whether anything is left bare.
func (l *laying) tell(io streams) error {
	r := l.report()
	if l.o.json {
		if err := tellJSON(io, r, r.Warnings); err != nil {
			return err
		}
	} else {
		r.print(io)
	}
	if len(r.Bare) > 0 {
		return errProofFails
	}
	return nil
}

func (r layoutReport) print(io streams) {
	out := lines{io.out}
	out.part(r.Part, r.Warnings)
	closed := ""
	if n := r.Plan.Sheets + r.Plan.Steps; n > 0 {
		closed = fmt.Sprintf(", %s, %d with steps", count(r.Plan.Sheets, "sheet", "sheets"), r.Plan.Steps)
	}
	out.tell("plan", "%s: %s on %s%s, %d of them yours; %s, %d struck", r.Plan.File,
		count(r.Plan.Lines, "line", "lines"), count(r.Plan.Posts, "post or sole", "posts and soles"), closed, r.Plan.Yours,
		count(r.Plan.Zones, "zone", "zones"), r.Plan.Struck)
	if r.Plan.BoundMM > 0 {
		out.tell("contact", "%.0f mm under level ceilings, no plan less than %.0f", r.Plan.ContactMM, r.Plan.BoundMM)
	}
	out.changes(r.Changes, mostChanges)
	if len(r.Bare) == 0 {
		out.tell("bare", "nothing: bake proves it")
	}
	for i, s := range r.Bare {
		head := ""
		if i == 0 {
			head = "bare"
		}
		if i == mostSpots-1 && len(r.Bare) > mostSpots {
			out.tell(head, "%d more spots; --json lists all", len(r.Bare)-i)
			break
		}
		out.tell(head, "%.3g mm² at x %.1f, y %.1f, z %.2f: %s", s.AreaMM2, s.AtMM[0], s.AtMM[1], s.AtMM[2], s.Why)
	}
}

// changes tells what became of what, a line each up to so many, after a line that
// counts.
func (l lines) changes(list []plan.Change, most int) {
	if len(list) == 0 {
		l.tell("changes", "none")
		return
	}
	var ops []plan.Op
	times := map[plan.Op]int{}
	for _, c := range list {
		if times[c.Op]++; times[c.Op] == 1 {
			ops = append(ops, c.Op)
		}
	}
	text := ""
	for i, op := range ops {
		if i > 0 {
			text += ", "
		}
		text += fmt.Sprintf("%d %s", times[op], op)
	}
	l.tell("changes", "%s", text)
	for i, c := range list {
		if i == most-1 && len(list) > most {
			l.tell("", "– and %d more; --json lists all", len(list)-i)
			return
		}
		l.tell("", "– %s", c)
	}
}
