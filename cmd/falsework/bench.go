package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"falsework/supports/cost"
	"falsework/supports/plan"

	"github.com/spf13/cobra"
)

// benchOptions are what bench was asked for.
type benchOptions struct {
	parts   []string // files and folders
	out     string   // empty: nothing is written
	into    string   // a Markdown page; empty: none
	input   inputOptions
	printer printerOptions
	json    bool
	force   bool

	delay time.Duration // until progress is told
}

const benchHelp = `Bench bakes many parts and tells of each what its supports take beside dense ones:
time and plastic of the supports and of the whole print, ratios, contact area, bodies,
verdict, and the seconds that baking took. PART is a file, or a folder whose STL,
3MF and OBJ files are taken in the order of their names. Models are not written; bake does
that.

A part that cannot be baked gets a row that says why, and the rest goes on. Nothing
is written unless you ask for it:

  --out DIR      bench.csv, bench.json and bench.md, written anew after each part.
                 Run it again and it goes on where it was interrupted: a row counts
                 for the same file, settings and program. --force begins anew
  --into FILE    a Markdown page; the table goes between two lines of it,
                 ` + markBegin + ` and
                 ` + markEnd + `

Dense supports are those that the README defines, with lines every 2.5 mm; CSV and
JSON have those at 2 and 4 mm too. Below the table stand published figures with what
can be said of them: they come from other parts and other dense supports.

The exit code is 0 when all parts hold, 1 when one fails its proof or was refused, 2
when usage was, and nothing was told.

--json prints what bench.json holds:

  settings   as in a plan
  printer    as cost gives it
  rows[]     name, triangles, size_mm, verdict (holds, fails or refused), problem,
             bodies, contact_mm2, supports{time_s,volume_mm3,mass_g},
             dense[]{spacing_mm,time_s,volume_mm3,mass_g,ratio{time,plastic}},
             print{part,with_supports,with_dense,ratio} as in bake, seconds
  mean       over parts that hold on supports: parts, and as shares of 1 time_saved,
             plastic_saved, print_time_saved, print_plastic_saved; sum_time_saved and
             sum_plastic_saved of the sums`

const benchExample = `  falsework bench testdata/parts
  falsework bench testdata/parts my-models --out results
  falsework bench my-models --out brisk --printer testdata/printers/brisk.yaml
  falsework bench testdata/parts --into README.md`

// The lines of a page that the table goes between.
const (
	markBegin = "<!-- bench: begin -->"
	markEnd   = "<!-- bench: end -->"
)

func newBenchCommand(io streams) *cobra.Command {
	o := &benchOptions{delay: progressDelay}
	cmd := &cobra.Command{
		Use:     "bench PART...",
		Short:   "Bake many parts and tabulate what supports take",
		Long:    benchHelp,
		Example: benchExample,
		RunE: func(cmd *cobra.Command, args []string) error {
			refuse := func(err error) error { return &usageError{cmd, err} }
			o.parts = args
			fs := cmd.Flags()
			switch {
			case len(args) == 0:
				return refuse(errors.New("bench takes files or folders of parts, but was given none"))
			case slices.Contains(args, ""):
				return refuse(errors.New("a PART is empty: name a file or a folder"))
			case fs.Changed("out") && o.out == "":
				return refuse(errors.New("--out is empty: name a folder, or leave it out to have nothing written"))
			case fs.Changed("into") && o.into == "":
				return refuse(errors.New("--into is empty: name a Markdown page, or leave it out"))
			}
			if err := o.printer.early(); err != nil {
				return refuse(err)
			}
			return runBench(cmd.Context(), io, o)
		},
	}
	fs := cmd.Flags()
	fs.SortFlags = false
	fs.StringVar(&o.out, "out", "", "folder to write tables to and to go on from; made if it does not exist")
	fs.StringVar(&o.into, "into", "", "Markdown page to put the table into, between its marks")
	o.input.addTo(fs)
	o.printer.addTo(fs)
	fs.BoolVar(&o.json, "json", false, "print one JSON object instead of the table")
	fs.BoolVar(&o.force, "force", false, "bake every part anew, and replace what an earlier run wrote")
	return cmd
}

// tablesOf are the files that a report is written to, and tableJSON is which of them
// is read again.
func tablesOf(command string) []string {
	return []string{command + ".csv", command + ".json", command + ".md"}
}

const tableJSON = 1

func runBench(ctx context.Context, io streams, o *benchOptions) error {
	files, err := partsOf(o.parts)
	if err != nil {
		return err
	}
	machine, err := readPrinter(o.printer.file)
	if err != nil {
		return err
	}
	s, err := o.printer.settingsFor(machine)
	if err != nil {
		return err
	}
	if o.into != "" {
		if _, err := spliceFile(o.into, ""); err != nil {
			return err
		}
	}
	r := &benchReport{Settings: proofSettings(plan.FromSettings(s)), Printer: machineOf(machine)}
	target := output{option: "--out", dir: filepath.Clean(o.out), names: tablesOf("bench"), force: o.force}
	var known map[string]benchRow
	if o.out != "" {
		if known, err = earlier(&target); err != nil {
			return err
		}
	}

	p := newProgress(io.err, o.delay)
	defer p.close()
	key, err := r.keys(o.input.unit.String())
	if err != nil {
		return err
	}
	save := func() error {
		if o.out == "" {
			return nil
		}
		if err := r.save(&target); err != nil {
			return err
		}
		target.force = true // the files are our own now
		return nil
	}
	again := ""
	if o.out != "" {
		again = "; run it again to go on"
	}
	bake := func(path string) (benchRow, func() error) { return benchPart(path, o.input, o.printer), nil }
	if err := r.each(ctx, p, files, known, key, bake, save, again); err != nil {
		return err
	}
	if o.into != "" {
		page, err := spliceFile(o.into, r.markdown())
		if err != nil {
			return err
		}
		if err := replaceFile(o.into, page); err != nil {
			return fileError(o.into, err)
		}
	}
	p.close()
	return r.tell(io, o.json)
}

// tell prints the table and returns whether all parts hold.
func (r *benchReport) tell(io streams, asJSON bool) error {
	if asJSON {
		if err := tellJSON(io, r, nil); err != nil {
			return err
		}
	} else {
		r.print(io.out)
	}
	if slices.ContainsFunc(r.Rows, func(row benchRow) bool { return row.Verdict != "holds" }) {
		return errProofFails
	}
	return nil
}

// each adds a row for every file: one that is known by its key, else one that bake
// makes and, if it returns that, finishes where an interrupt does not cut it off.
// The report is saved after each. again says what to do after an interrupt.
func (r *benchReport) each(ctx context.Context, p *progress, files []string, known map[string]benchRow, key func(path string) string,
	bake func(path string) (benchRow, func() error), save func() error, again string) error {
	for i, path := range files {
		row, done := known[key(path)]
		if row.Name = stem(path); !done {
			var took float64
			var finish func() error
			err := work(ctx, p, []stage{{fmt.Sprintf("%s, %d of %d", row.Name, i+1, len(files)), &took, func() error {
				row, finish = bake(path)
				return nil
			}}})
			if err != nil {
				return fmt.Errorf("interrupted after %d of %d parts%s", i, len(files), again)
			}
			if finish != nil {
				if err := finish(); err != nil {
					row = benchRow{Name: row.Name, Verdict: "refused", Problem: oneLine(err)}
				}
			}
			row.Key = key(path)
		}
		r.Rows = append(r.Rows, row)
		r.Mean = meanOf(r.Rows)
		if !done || i == len(files)-1 {
			if err := save(); err != nil {
				return err
			}
		}
	}
	return nil
}

// partsOf lists the files that are meant, those of folders and patterns by name.
func partsOf(args []string) ([]string, error) {
	var out []string
	for _, arg := range args {
		info, err := os.Stat(arg)
		if err != nil && strings.ContainsAny(arg, "*?[") {
			list, bad := filepath.Glob(arg) // sorted
			if list = slices.DeleteFunc(list, func(path string) bool { return !isPart(path) }); bad != nil || len(list) == 0 {
				return nil, fmt.Errorf("%s: no STL, 3MF or OBJ file is named like this; check the pattern", arg)
			}
			out = append(out, list...)
			continue
		}
		if err != nil {
			return nil, fileError(arg, err)
		}
		if !info.IsDir() {
			out = append(out, arg)
			continue
		}
		list, err := os.ReadDir(arg) // sorted
		if err != nil {
			return nil, fileError(arg, err)
		}
		n := len(out)
		for _, e := range list {
			if !e.IsDir() && isPart(e.Name()) {
				out = append(out, filepath.Join(arg, e.Name()))
			}
		}
		if len(out) == n {
			return nil, fmt.Errorf("%s: holds no STL, 3MF or OBJ file; name another folder", arg)
		}
	}
	return out, nil
}

// benchPart bakes one part in memory and prices it.
func benchPart(path string, in inputOptions, options printerOptions) benchRow {
	b := &baking{o: &bakeOptions{part: path, input: in, printer: options, pictures: pictureOptions{none: true}}, name: stem(path)}
	row := benchRow{Name: b.name, Verdict: "refused"}
	start := time.Now()
	for _, step := range []func() error{b.read, b.cut, b.find, b.layOut, b.grow, b.prove, b.price, b.encoding.Wait} {
		if err := step(); err != nil {
			_ = b.pricing.Wait()
			row.Problem = oneLine(err)
			return row
		}
	}
	row.Seconds = to(time.Since(start).Seconds(), 2)
	row.fill(b, cost.Spacings[:])
	return row
}

// fill takes over what a baking came to, priced beside dense supports at each spacing.
func (row *benchRow) fill(b *baking, spacings []float64) {
	bake := b.report()
	row.Triangles, row.SizeMM = bake.Part.Triangles, bake.Part.SizeMM
	row.Verdict, row.Bodies, row.ContactMM2 = bake.Proof.Verdict, bake.Supports.Bodies, bake.Supports.ContactMM2
	if len(bake.Proof.Reasons) > 0 {
		row.Problem = bake.Proof.Reasons[0]
	}
	row.Supports = takesOf(b.compare.Supports)
	for _, spacing := range spacings {
		e := b.baseline
		if spacing != cost.DefaultSpacing {
			_, e = cost.Baseline(b.layers, b.settings, b.machine.Machine, spacing)
		}
		d := benchDense{SpacingMM: spacing, benchTakes: takesOf(e)}
		if !b.bare() {
			d.Ratio = ratioOf(b.compare.Supports, e)
		}
		row.Dense = append(row.Dense, d)
	}
	row.Print, row.Warnings = bake.Print, bake.Warnings
}

// keys returns what tells a row from those of other files, settings and programs.
func (r *benchReport) keys(more ...any) (func(path string) string, error) {
	common, err := json.Marshal(append([]any{r.Settings, r.Printer}, more...))
	if err != nil {
		return nil, err
	}
	if program, err := os.Executable(); err == nil {
		// Another build may bake otherwise. Without its text rows are not known apart.
		if data, err := os.ReadFile(program); err == nil {
			sum := sha256.Sum256(data)
			common = append(common, sum[:]...)
		}
	}
	of := func(path string) string {
		data, err := os.ReadFile(path)
		if err != nil {
			return "" // it will be refused
		}
		sum := sha256.Sum256(append(data, common...))
		return hex.EncodeToString(sum[:16])
	}
	var mu sync.Mutex
	seen := map[string]string{}
	return func(path string) string {
		mu.Lock()
		defer mu.Unlock()
		if _, ok := seen[path]; !ok {
			seen[path] = of(path)
		}
		return seen[path]
	}, nil
}

// earlier returns the rows that an earlier run left in the folder, by their keys, and
// lets that run's files be replaced. Other files of those names are refused.
func earlier(target *output) (map[string]benchRow, error) {
	path := filepath.Join(target.dir, target.names[tableJSON])
	data, err := os.ReadFile(path)
	var was benchReport
	switch {
	case errors.Is(err, fs.ErrNotExist) || target.force:
		return nil, target.check()
	case err != nil:
		return nil, fileError(path, err)
	case json.Unmarshal(data, &was) != nil || len(was.Rows) == 0:
		return nil, target.check() // not ours
	}
	target.force = true
	known := map[string]benchRow{}
	for _, row := range was.Rows {
		if row.Key != "" {
			known[row.Key] = row
		}
	}
	return known, target.check()
}

// spliceFile returns a page with what is between its marks replaced.
func spliceFile(path, text string) ([]byte, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, fileError(path, err)
	}
	head, rest, begins := strings.Cut(string(data), markBegin+"\n")
	_, tail, ends := strings.Cut(rest, markEnd)
	if !begins || !ends {
		return nil, fmt.Errorf("%s: has no lines %s and %s for the table to go between; add them", path, markBegin, markEnd)
	}
	return []byte(head + markBegin + "\n\n" + text + "\n" + markEnd + tail), nil
}

// replaceFile puts a whole file in the place of another.
func replaceFile(path string, data []byte) error {
	stage, err := makeStage(filepath.Dir(path))
	if err != nil {
		return err
	}
	defer os.RemoveAll(stage)
	if err := writeAll(stage, []file{{filepath.Base(path), data}}); err != nil {
		return err
	}
	return os.Rename(filepath.Join(stage, filepath.Base(path)), path)
}
