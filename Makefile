# make test      sets up what the tests need and runs all of them
# make pictures  draws the README's pictures anew
# make fast      the tests that take seconds, without other people's programs
# make page      builds the editor's page, which go build then puts into the program
# make edit PART=FILE  builds both and opens the part in a browser
# make faults    breaks some structures of every demo part's layout: many minutes
# make bench     the benchmarks, once through
# make results   bakes every demo part and writes the README's table of results

SHELL := /bin/bash
.SHELLFLAGS := -euo pipefail -c
.DEFAULT_GOAL := test
.PHONY: test fast page edit page-test faults bench pictures results tools

# Programs and libraries of other people that judge what we write.
PACKAGES := admesh lib3mf-dev libcgal-dev g++ nodejs npm chromium

PAGE := cmd/falsework/page

tools:
	@lacking=(); \
	command -v admesh >/dev/null || lacking+=(admesh); \
	[ -e /usr/include/lib3mf ] || lacking+=(lib3mf-dev); \
	[ -e /usr/include/CGAL ] || lacking+=(libcgal-dev); \
	command -v g++ >/dev/null || lacking+=(g++); \
	command -v node >/dev/null || lacking+=(nodejs); \
	command -v npm >/dev/null || lacking+=(npm); \
	command -v chromium >/dev/null || lacking+=(chromium); \
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
		npm --prefix testdata/htmlcheck ci --ignore-scripts --silent --no-audit --no-fund || echo "could not install html-validate: the check that needs it will fail" >&2; \
	else \
		echo "not installed: npm (Node 18 or later). The check of the print sheet needs it and will fail" >&2; \
	fi

# What the page is made of, as the lock file says; esbuild's program comes in a package of
# its own, so nothing has to run when packages are set up.
$(PAGE)/node_modules/.package-lock.json: $(PAGE)/package-lock.json
	cd $(PAGE) && npm ci --ignore-scripts --no-audit --no-fund --loglevel=error
	@touch $@

page: $(PAGE)/node_modules/.package-lock.json
	cd $(PAGE) && npm run --silent build

edit: page
	go run ./cmd/falsework edit $(PART)

# The page's types, its own sums, and a designer's hour at it in a browser.
page-test: page
	cd $(PAGE) && npm run --silent check && npm run --silent unit && npx --no-install playwright test

test: tools page-test
	FALSEWORK_REFERENCE=1 go test -timeout 30m ./...

fast:
	go test -short -timeout 10m ./...

faults:
	FALSEWORK_FAULTS=2 go test -v -run 'FaultInjection|HalfTheCell' -timeout 120m ./supports/prove

bench:
	go test -run '^$$' -bench . -benchtime 1x -timeout 30m ./...

pictures: page
	@out=$$(mktemp -d); trap 'rm -rf "$$out"' EXIT; \
	go run ./cmd/falsework bake testdata/parts/wall-bracket.stl --out "$$out" --force --picture-width 1200; \
	go run ./cmd/falsework bake testdata/parts/nut-pocket-plate.stl --out "$$out/plate" --picture-width 1200; \
	mkdir -p testdata/pictures; \
	cp "$$out"/plate/nut-pocket-plate-below.png "$$out"/wall-bracket-below.png "$$out"/wall-bracket-three-quarter.png testdata/pictures/
	cd $(PAGE) && FALSEWORK_ONLY=picture.ts FALSEWORK_PICTURE=$(CURDIR)/testdata/pictures/editor.png npx --no-install playwright test

results:
	go run ./cmd/falsework bench testdata/parts --into README.md >/dev/null
