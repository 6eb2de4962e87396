package main

import (
	"archive/zip"
	"bytes"
	"context"
	"io"
	"sync"

	"falsework/supports/plan"
	"falsework/supports/pose"

	"github.com/spf13/pflag"
)

// bake makes the files that the command would write for the plan once it is saved.
func (e *editing) bake(ctx context.Context, p plan.Plan, t pose.Turn, one *sync.Mutex) ([]file, error) {
	text, err := e.file.textOf(p)
	if err != nil {
		return nil, err
	}
	one.Lock()
	defer one.Unlock()
	o := &bakeOptions{part: e.o.part, plan: e.o.plan, delay: e.o.delay}
	defaults := pflag.NewFlagSet("bake", pflag.ContinueOnError)
	o.pictures.addTo(defaults)
	o.publish.addTo(defaults)
	if t != (pose.Turn{}) {
		o.turning = turning{text: t.String(), turn: t}
	}
	b := &baking{o: o, name: stem(e.o.part), machine: e.machine, planText: text, part: e.part, warnings: e.warnings, progress: newProgress(io.Discard, e.o.delay)}
	defer b.progress.close()
	if t != (pose.Turn{}) {
		b.part = t.Place(e.part)
	}
	// As whoever runs the command reads it.
	if b.plan, err = plan.Decode(e.o.plan, text); err != nil {
		return nil, err
	}
	if b.settings, err = b.plan.Resolve(); err != nil {
		return nil, err
	}
	if err := inTurn(ctx, b.progress, b.building()); err != nil {
		return nil, err
	}
	return b.files, nil
}

// archive packs files, without dates, so that the same files give the same bytes.
func archive(files []file) ([]byte, error) {
	var buf bytes.Buffer
	z := zip.NewWriter(&buf)
	for _, f := range files {
		w, err := z.Create(f.name)
		if err != nil {
			return nil, err
		}
		if _, err := w.Write(f.data); err != nil {
			return nil, err
		}
	}
	err := z.Close()
	return buf.Bytes(), err
}
