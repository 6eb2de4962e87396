package main

import (
	"fmt"
	"strings"
	"time"

	"github.com/spf13/pflag"
)

// publishOptions are what a designer says of a model that is to be published.
type publishOptions struct {
	Title, Designer, Licence, Description, Created, Modified, BodyType string
}

func (o *publishOptions) addTo(fs *pflag.FlagSet) {
	fs.StringVar(&o.BodyType, "body-type", "model", "3MF type of the supports: model or solidsupport (see above)")
	fs.StringVar(&o.Title, "title", "", "name of the model (default the file's)")
	fs.StringVar(&o.Designer, "designer", "", "who made the part")
	fs.StringVar(&o.Licence, "licence", "", "terms that others may use it on")
	fs.StringVar(&o.Description, "description", "", "what the part is for")
	fs.StringVar(&o.Created, "created", "", "date it was made on, as 2026-01-31; none is put in otherwise")
	fs.StringVar(&o.Modified, "modified", "", "date of its last change")
}

func (o *publishOptions) check() error {
	if o.BodyType != "model" && o.BodyType != "solidsupport" {
		return fmt.Errorf("--body-type %q is neither model nor solidsupport", o.BodyType)
	}
	for _, d := range []struct{ option, value string }{{"--created", o.Created}, {"--modified", o.Modified}} {
		if d.value == "" {
			continue
		}
		if _, err := time.Parse(time.DateOnly, d.value); err != nil {
			if _, err := time.Parse(time.RFC3339, d.value); err != nil {
				return fmt.Errorf("%s %q is no date such as 2026-01-31", d.option, d.value)
			}
		}
	}
	const most = 10_000 // letters, far more than a page shows
	for _, t := range []struct{ option, value string }{{"--title", o.Title}, {"--designer", o.Designer}, {"--licence", o.Licence}, {"--description", o.Description}} {
		if len(t.value) > most || strings.ContainsRune(t.value, 0) {
			return fmt.Errorf("%s is longer than %d letters", t.option, most)
		}
	}
	return nil
}
