package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"falsework/supports/cost"
	"falsework/supports/plan"
)

// isMany tells whether arguments may mean more than one part.
func isMany(args []string) bool {
	if len(args) != 1 {
		return true
	}
	info, err := os.Stat(args[0])
	return err == nil && info.IsDir() || err != nil && strings.ContainsAny(args[0], "*?[")
}

// runBakeMany bakes parts one after the other into one folder. A part that cannot be
// baked gets a row that says why.
func runBakeMany(ctx context.Context, io streams, o *bakeOptions, args []string) error {
	files, err := partsOf(args)
	if err != nil {
		return err
	}
	seen := map[string]string{}
	for _, path := range files {
		// Names that differ in case alone are one file on some systems.
		name := strings.ToLower(stem(path))
		if was, ok := seen[name]; ok {
			return fmt.Errorf("%s: its outputs would have the names of those of %s; bake one of them into another folder", path, was)
		}
		seen[name] = path
	}
	machine, err := readPrinter(o.printer.file)
	if err != nil {
		return err
	}
	s, err := o.printer.settingsFor(machine)
	if err != nil {
		return err
	}
	r := &benchReport{Settings: proofSettings(plan.FromSettings(s)), Printer: machineOf(machine)}
	table := output{option: "--out", dir: filepath.Clean(o.out), names: tablesOf("bake"), force: o.force}
	known, mine := map[string]benchRow{}, map[string]bool{}
	if o.resume && !o.force {
		if known, err = earlier(&table); err != nil {
			return err
		}
		for key, row := range known {
			mine[row.Name] = true
			if !o.written(row) {
				delete(known, key)
			}
		}
	} else if err := table.check(); err != nil {
		if _, there := os.Stat(filepath.Join(table.dir, table.names[tableJSON])); there == nil {
			err = fmt.Errorf("%w, or --resume to go on from it", err)
		}
		return err
	}
	same, err := r.keys(o.input.unit.String(), fmt.Sprint(o.pictures), fmt.Sprint(o.turning), o.publish)
	if err != nil {
		return err
	}
	// Files of one content are still two parts, whose outputs have names.
	key := func(path string) string { return same(path) + " " + stem(path) }

	p := newProgress(io.err, o.delay)
	defer p.close()
	bake := func(path string) (benchRow, func() error) {
		one := *o
		one.part = path
		b := &baking{o: &one, name: stem(path), progress: p}
		row := benchRow{Name: b.name, Verdict: "refused"}
		target := output{option: "--out", dir: table.dir, names: outputsOf(b.name).all(), force: o.force || mine[b.name]}
		stages := b.stages(ctx, target)
		for i := range stages {
			stages[i].name = fmt.Sprintf("%s, %d of %d: %s", b.name, slices.Index(files, path)+1, len(files), stages[i].name)
		}
		start := time.Now()
		if err := inTurn(ctx, p, stages); err != nil {
			_ = b.pricing.Wait() // it returns no error, and may be at work
			row.Problem = oneLine(err)
			return row, nil
		}
		row.fill(b, []float64{cost.DefaultSpacing})
		row.Seconds = to(time.Since(start).Seconds(), 2)
		for _, f := range b.files {
			row.Files = append(row.Files, f.name)
		}
		return row, func() error { return target.place(b.files, nil) }
	}
	save := func() error {
		err := r.save(&table)
		table.force = true // the files are our own now
		return err
	}
	if err := r.each(ctx, p, files, known, key, bake, save, "; --resume goes on"); err != nil {
		return err
	}
	p.close()
	return r.tell(io, o.json)
}

// written tells whether all files of a row are there.
func (o *bakeOptions) written(row benchRow) bool {
	for _, name := range row.Files {
		if _, err := os.Stat(filepath.Join(o.out, name)); err != nil {
			return false
		}
	}
	return len(row.Files) > 0 // what was refused is tried again
}

// checkMany refuses what means nothing for many parts.
func (o *bakeOptions) checkMany(args []string) error {
	for _, a := range args {
		if a == "" {
			return errors.New("a PART is empty: name a file or a folder")
		}
	}
	if o.plan != "" && isMany(args) {
		return errors.New("--plan is drawn for one part; bake that part alone")
	}
	return nil
}
