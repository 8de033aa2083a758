#!/bin/bash
# Three libraries that share no code with it read what seasond writes and find what went in: texts, days, instants,
# alarms, people, and a year of weekly instants as zoneinfo counts them. Octets are looked at as well (RFC 5545 3.1).
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

# check NAME FILE WANT COMMAND...: the command prints the wanted entries of FILE
check() {
	local name=$1 file=$2 got=$dir/$1.got want=$dir/$3
	shift 3
	if "$@" "$dir/$file" >"$got" 2>"$dir/diff" && [ "$(wc -l <"$got")" -ge 1 ] && diff -u "$want" "$got" >"$dir/diff"; then
		echo "ok $name"
	else
		echo "not ok $name: $seed"
		failed=1
		head -c 3000 "$dir/diff"
	fi
}

# judge NAME COMMAND...: the command succeeds
judge() {
	local name=$1
	shift
	if "$@"; then
		echo "ok $name"
	else
		echo "not ok $name: $seed"
		failed=1
	fi
}

lines_end_with_crlf() {
	! LC_ALL=C grep -qav $'\r$' "$dir"/*.ics && ! LC_ALL=C grep -qa $'\r.' "$dir"/*.ics
}
lines_have_75_octets() {
	LC_ALL=C awk 'length($0) > 76 { bad = 1 } END { exit bad }' "$dir"/*.ics
}
messages_alone_have_a_method() {
	! grep -qa '^METHOD' "$dir"/{todos,events,none,hard,later,zones}.ics &&
		[ "$(grep -ca '^METHOD:\(REQUEST\|CANCEL\)' "$dir/messages.ics")" = 300 ]
}

if ! seed=$("$build/tests/system/make_calendar" "$dir"); then
	echo "not ok make_calendar"
	exit 1
fi
files="todos events none later zones messages"
for file in $files hard; do
	/usr/bin/python3 "$here/want_calendar.py" "$dir" $file.ics >"$dir/$file.want" || exit 1
	/usr/bin/python3 "$here/want_calendar.py" "$dir" $file.ics short >"$dir/$file.short" || exit 1
done
# the check of the checks
judge every_entry_is_looked_for [ "$(cat "$dir"/*.want | wc -l)" -ge 5000 ]
judge weekly_instants_are_looked_for [ "$(grep -c '"weekly":\["' "$dir/events.want")" -ge 200 ]
judge lines_end_with_crlf lines_end_with_crlf
judge lines_have_75_octets lines_have_75_octets
judge messages_alone_have_a_method messages_alone_have_a_method

if /usr/bin/python3 -c 'import icalendar' 2>/dev/null; then
	for file in $files; do
		check python3-icalendar_reads_$file $file.ics $file.want /usr/bin/python3 "$here/read_calendar.py"
	done
else
	echo "skipped python3-icalendar_reads: python3-icalendar is not installed"
fi
if /usr/bin/python3 -c 'import vobject' 2>/dev/null; then
	for file in ${files/none/} hard; do
		check python3-vobject_validates_$file $file.ics $file.short /usr/bin/python3 "$here/read_vobject.py"
	done
else
	echo "skipped python3-vobject_validates: python3-vobject is not installed"
fi
if [ -d "$modules/ical.js" ]; then
	for file in $files hard; do
		check ical.js_reads_$file $file.ics $file.want node "$here/../npm/read_calendar.mjs"
	done
else
	echo "skipped ical.js_reads: no ical.js in $modules (make deps)"
fi
exit $failed
