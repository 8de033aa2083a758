#!/bin/bash
# Every test that tests/rfc5545.md names is there, and every section names one.
set -u
cd "$(dirname "$0")/../.." || exit 1
table=tests/rfc5545.md
missing=0

# there PROGRAM TEST
there() {
	case $1 in
	data) [ -f "tests/data/calendar/$2.ics" ] && [ -f "tests/data/calendar/$2.want" ] ;;
	readers) grep -qE "^[[:space:]]*(judge|check) $2([ _]|$)" tests/system/test_calendar_readers.sh ;;
	fuzz) [ -f "tests/fuzz/fuzz_$2.c" ] && [ -d "tests/fuzz/corpus/$2" ] ;;
	*) grep -q "cmocka_unit_test($2)" "tests/unit/$1.c" ;;
	esac
}

named=$(grep -oE '`[a-z_]+: [A-Za-z0-9_.-]+`' $table | tr -d '`' | sort -u)
while IFS=': ' read -r program test; do
	if ! there "$program" "$test"; then
		echo "$table names what is not there: $program: $test"
		missing=1
	fi
done <<<"$named"
n=$(wc -l <<<"$named")
if [ $missing -eq 0 ] && [ "$n" -ge 100 ]; then
	echo "ok every_test_of_the_rfc_table_is_there: $n"
else
	echo "not ok every_test_of_the_rfc_table_is_there: $n"
fi
rows=$(grep -c '^| [0-9RFCal]' $table)
bare=$(grep '^| [0-9RFCal]' $table | grep -vc '`')
if [ "$rows" -ge 40 ] && [ "$bare" -eq 0 ]; then
	echo "ok every_section_has_a_test: $rows"
else
	echo "not ok every_section_has_a_test: $bare of $rows have none"
	missing=1
fi
exit $missing
