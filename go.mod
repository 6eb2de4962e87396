module falsework

go 1.26.0

require (
	github.com/fogleman/fauxgl v0.0.0-20250110135958-abf826acbbbd
	github.com/goccy/go-yaml v1.19.2
	github.com/google/go-cmp v0.7.0
	github.com/hpinc/go3mf v0.24.2
	github.com/hschendel/stl v1.0.4
	github.com/spf13/cobra v1.10.2
	github.com/spf13/pflag v1.0.9
	golang.org/x/image v0.47.0
	golang.org/x/sync v0.25.0
	gonum.org/v1/gonum v0.17.0
	pgregory.net/rapid v1.3.0
)

require (
	github.com/fogleman/simplify v0.0.0-20170216171241-d32f302d5046 // indirect
	github.com/inconshreveable/mousetrap v1.1.0 // indirect
	github.com/qmuntal/opc v0.7.10 // indirect
	golang.org/x/sys v0.49.0 // indirect
	golang.org/x/text v0.43.0 // indirect
)
