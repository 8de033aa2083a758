#!/bin/bash
# The manual names what the programs know: commands, settings, findings, options of imports. B: build folder.
set -u
cd "$(dirname "$0")/../.." || exit 1
b=${B:-build}
failed=0

# named PAGE WHAT WORDS: each word stands in the page as a word of its own, not inside another
named() {
	local page=$1 what=$2 word missing=
	shift 2
	for word in "$@"; do
		grep -Eq -- "^\.(It |Ic |Cm |Fl )(.* )?$word( |\$)" "$page" || missing="$missing $word"
	done
	if [ $# -ge 5 ] && [ -z "$missing" ]; then
		echo "ok ${page##*/} has every $what ($#)"
	else
		echo "not ok ${page##*/} has every $what: of $# words these are missing:$missing"
		failed=1
	fi
}

man=daemon/man
mapfile -t commands < <("$b/seasonctl" --help | sed -n 's/^  \([a-z][a-z]*\).*/\1/p')
mapfile -t settings < <("$b/seasond" --print-settings | sed -n 's/^\([a-z_.]*\): .*/\1/p' | sed 's/.*\.//' | sort -u)
mapfile -t findings < <(sed -n 's/^\t\[FINDING_[A-Z_]*\] = { "\([a-z_]*\)",.*/\1/p' core/finding.c)
mapfile -t options < <(sed -n '/layout_options\[\]/,/^} *layout_options\|^};/p' daemon/ctl_import.c |
	sed -n 's/^\t{ "\([a-z-]*\)", offsetof.*/\1/p')
named $man/seasonctl.1 command "${commands[@]}"
named $man/seasond.conf.5 setting "${settings[@]}"
named $man/seasonctl.1 finding "${findings[@]}"
named $man/seasonctl.1 "option of import" "${options[@]/#/Fl }"

# A setting of two lists is described in both: the heading of each list is followed by all of its names.
for list in places sensors sources outputs layouts; do
	missing=
	part=$(awk -v list="$list" '/^\.S[sh] /{ inside = $1 == ".Ss" && $2 == list } inside' $man/seasond.conf.5)
	for word in $("$b/seasond" --print-settings | sed -n "s/^$list\.\([a-z_]*\): .*/\1/p"); do
		grep -Eq "^\.It Ic (.* )?$word( |\$)" <<<"$part" || missing="$missing $word"
	done
	if [ -z "$missing" ]; then
		echo "ok seasond.conf.5 has every setting of $list"
	else
		echo "not ok seasond.conf.5 has every setting of $list, missing:$missing"
		failed=1
	fi
done

if command -v mandoc >/dev/null; then
	for page in "$man"/*.[1-8]; do
		if mandoc -Tlint -Wwarning "$page"; then
			echo "ok mandoc takes ${page##*/}"
		else
			echo "not ok mandoc takes ${page##*/}"
			failed=1
		fi
	done
else
	echo "skipped mandoc takes the pages: mandoc is missing"
fi
exit $failed
