#!/bin/bash
# The demo runs, tells its faults and its story, and leaves two calendars that lint clean in both readers.
set -u
cd "$(dirname "$0")/../.." || exit 1
out=$(mktemp)
trap 'rm -f "$out"' EXIT
result() {
	if [ "$1" -eq 0 ]; then echo "ok $2"; else echo "not ok $2" && cat "$out"; fi
}
B=${B:-build} tests/demo/run >"$out" 2>&1
result $? "the demo runs"
for words in 'no faults' '143 suspect' '1 suspect' 'room: Sensor is silent' 'After-winter round' \
	'Before-winter round' 'Left case, with a humidifier: Air too dry' 'done  ' 'visit ' 'Harbour School of Music' 'bench-todos.ics'; do
	grep -qF -- "$words" "$out"
	result $? "the demo tells: $words"
done
grep -qF "set aside: stuck" "${B:-build}/demo/service.log"
result $? "the log tells why a sensor is silent"
for name in events todos; do
	file=${B:-build}/demo/calendars/bench-$name.ics
	/usr/bin/python3 -c 'import sys, icalendar; icalendar.Calendar.from_ical(open(sys.argv[1], "rb").read())' "$file" >>"$out" 2>&1
	result $? "python3-icalendar reads bench-$name.ics"
done
