#!/bin/bash
# Every input that fuzzing has kept, played once more: tests/fuzz/corpus and regress, and the cases of tests/data that a
# target reads as well.
set -u
B=${B:-build}
out=$(mktemp)
trap 'rm -f "$out"' EXIT
for source in tests/fuzz/fuzz_*.c; do
	name=$(basename "$source" .c)
	name=${name#fuzz_}
	if "$B/tests/fuzz/fuzz_$name" "tests/fuzz/corpus/$name" "tests/fuzz/regress/$name" "tests/data/$name" >"$out" 2>&1; then
		echo "ok $name: $(grep ' inputs$' "$out")"
	else
		echo "not ok $name"
		tail -n 30 "$out"
	fi
done
