# make test      sets up what the tests need and runs all of them
# make pictures  draws the README's pictures anew
# make fast      the tests that take seconds, without other people's programs
# make faults    breaks some structures of every demo part's layout: many minutes
# make bench     the benchmarks, once through
# make results   bakes every demo part and writes the README's table of results

SHELL := /bin/bash
.SHELLFLAGS := -euo pipefail -c
.DEFAULT_GOAL := test
.PHONY: test fast faults bench pictures results tools

# Programs and libraries of other people that judge what we write.
PACKAGES := admesh lib3mf-dev libcgal-dev g++

tools:
	@lacking=(); \
	command -v admesh >/dev/null || lacking+=(admesh); \
	[ -e /usr/include/lib3mf ] || lacking+=(lib3mf-dev); \
	[ -e /usr/include/CGAL ] || lacking+=(libcgal-dev); \
	command -v g++ >/dev/null || lacking+=(g++); \
	if [ $${#lacking[@]} -eq 0 ]; then exit 0; fi; \
	if [ "$$(id -u)" -eq 0 ] && command -v apt-get >/dev/null; then \
		echo "installing $${lacking[*]}"; \
		log=$$(mktemp); \
		if ! { apt-get -q update && DEBIAN_FRONTEND=noninteractive apt-get -q install -y --no-install-recommends "$${lacking[@]}"; } >"$$log" 2>&1; then \
			tail -n 20 "$$log" >&2; rm -f "$$log"; \
			echo "could not install $${lacking[*]}: the checks that need them will fail" >&2; \
		fi; \
		rm -f "$$log"; \
	else \
		echo "not installed: $${lacking[*]}. The checks that need them will fail; on Debian: sudo apt-get install $(PACKAGES)" >&2; \
	fi

	@if [ -x testdata/htmlcheck/node_modules/.bin/html-validate ]; then exit 0; fi; \
	if command -v npm >/dev/null; then \
		echo "installing html-validate"; \
		npm --prefix testdata/htmlcheck ci --silent --no-audit --no-fund || echo "could not install html-validate: the check that needs it will fail" >&2; \
	else \
		echo "not installed: npm (Node 20.6 or later). The check of the print sheet needs it and will fail" >&2; \
	fi

test: tools
	FALSEWORK_REFERENCE=1 go test -timeout 30m ./...

fast:
	go test -short -timeout 10m ./...

faults:
	FALSEWORK_FAULTS=2 go test -v -run 'FaultInjection|HalfTheCell' -timeout 120m ./supports/prove

bench:
	go test -run '^$$' -bench . -benchtime 1x -timeout 30m ./...

pictures:
	@out=$$(mktemp -d); trap 'rm -rf "$$out"' EXIT; \
	go run ./cmd/falsework bake testdata/parts/wall-bracket.stl --out "$$out" --force --picture-width 1200; \
	mkdir -p testdata/pictures; \
	cp "$$out"/wall-bracket-below.png "$$out"/wall-bracket-three-quarter.png testdata/pictures/

results:
	go run ./cmd/falsework bench testdata/parts --into README.md >/dev/null
