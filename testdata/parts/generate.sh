#!/usr/bin/env bash
# Makes NAME.stl (binary) from every NAME.scad beside this script, or from the
# names given as arguments. Needs openscad; uses admesh to check when present.
set -eu

cd "$(dirname "${BASH_SOURCE[0]}")"
export LC_ALL=C   # the order of *.scad and of the report

for tool in openscad perl; do
	command -v "$tool" >/dev/null || {
		echo "generate.sh: $tool not found; apt-get install $tool" >&2
		exit 1
	}
done

if [ $# -eq 0 ]; then
	set -- *.scad
fi

# openscad writes the same triangles in an order that differs from run to run.
# Sorted by their bytes they give the same file every time. 84 bytes of header
# and count, then 50 a triangle.
sorted() {
	perl -e '
		binmode STDIN; binmode STDOUT; local $/;
		my $all = <STDIN>;
		print substr($all, 0, 84), sort unpack("(a50)*", substr($all, 84));'
}

# Written aside, then renamed: a failure leaves the old file whole.
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

for arg in "$@"; do
	name=$(basename "$arg" .scad)
	if ! openscad --export-format binstl -o "$work/$name.stl" "$name.scad" >"$work/log" 2>&1; then
		cat "$work/log" >&2
		exit 1
	fi
	if grep -q WARNING "$work/log"; then
		grep WARNING "$work/log" >&2
		exit 1
	fi
	sorted <"$work/$name.stl" >"$name.stl.part"
	mv "$name.stl.part" "$name.stl"
	echo "$name.stl"
done

if command -v admesh >/dev/null; then
	for arg in "$@"; do
		name=$(basename "$arg" .scad)
		admesh "$name.stl" | awk -v name="$name" '
			/Total disconnected facets|Degenerate facets|Edges fixed|Facets removed|Facets added|Facets reversed|Backwards edges/ {
				for (i = 1; i <= NF; i++)
					if ($i == ":" && $(i+1) + 0 != 0) bad = 1
			}
			/Number of parts/ { if ($5 != 1) bad = 1 }
			END { if (bad) { print name ": admesh finds defects" > "/dev/stderr"; exit 1 } }'
	done
fi
