#!/bin/bash
# Two libraries that share no code with libical read what seasond writes and find what went in.
# B: build folder. SEASOND_NODE_MODULES: where ical.js is. SEED: of the random entries.
set -u
here=$(cd "$(dirname "$0")" && pwd)
build=${B:-build}
modules=${SEASOND_NODE_MODULES:-$build/npm/node_modules}
case $modules in /*) ;; *) modules=$PWD/$modules ;; esac
export SEASOND_NODE_MODULES=$modules
dir=$(mktemp -d)
trap 'rm -rf "$dir"' EXIT
failed=0

# check NAME FILE COMMAND...: the command prints the wanted entries of FILE
check() {
	local name=$1 file=$2 got=$dir/$1.got want=$dir/$2.want
	shift 2
	if "$@" "$dir/$file" >"$got" && [ "$(wc -l <"$got")" -ge 1 ] && diff -u "$want" "$got" >"$dir/diff"; then
		echo "ok $name"
	else
		echo "not ok $name"
		failed=1
		head -c 3000 "$dir/diff"
	fi
}

if ! "$build/tests/system/make_calendar" "$dir"; then
	echo "not ok make_calendar"
	exit 1
fi
for file in todos events none hard; do
	/usr/bin/python3 "$here/want_calendar.py" "$dir" $file.ics >"$dir/$file.ics.want" || exit 1
done
# 1500 entries and the head; the check of the checks
[ "$(wc -l <"$dir/todos.ics.want")" = 1501 ] && echo "ok every_entry_is_looked_for" || exit 1

if /usr/bin/python3 -c 'import icalendar' 2>/dev/null; then
	for file in todos events none; do
		check python3-icalendar_reads_$file $file.ics /usr/bin/python3 "$here/read_calendar.py"
	done
else
	echo "skipped python3-icalendar_reads: python3-icalendar is not installed"
fi
if [ -d "$modules/ical.js" ]; then
	for file in todos events none hard; do
		check ical.js_reads_$file $file.ics node "$here/../npm/read_calendar.mjs"
	done
else
	echo "skipped ical.js_reads: no ical.js in $modules (make deps)"
fi
exit $failed
