#!/bin/bash
# The manual and the programs know the same: commands, options, settings with their ranges and defaults, findings,
# the words of the library. B: build folder.
set -u
cd "$(dirname "$0")/../.." || exit 1
b=${B:-build}
man=daemon/man
failed=0

verdict() { # NAME WHY: ok when WHY is empty
	if [ -z "$2" ]; then
		echo "ok $1"
	else
		echo "not ok $1: $2"
		failed=1
	fi
}

# part PAGE HEADS: the text below those headings (an extended regular expression), each up to the next heading
part() {
	awk -v heads="^\\\\.S[hs] ($2)\$" '/^\.S[hs] /{ inside = $0 ~ heads } inside' "$man/$1"
}

# items MACRO: the words that stand as items of lists in the text given, one a line
items() {
	sed -n "s/^\.It $1 //p" | tr -d ',' | awk -v all="$1" '{ print $1; if (all == "Ic") for (i = 2; i <= NF; i++) print $i }' |
		sort -u
}

# same NAME PROGRAM PAGE: two lists of words, at least three, that have to be equal
same() {
	local missing extra why=
	missing=$(comm -23 <(sort -u <<<"$2") <(sort -u <<<"$3") | tr '\n' ' ')
	extra=$(comm -13 <(sort -u <<<"$2") <(sort -u <<<"$3") | tr '\n' ' ')
	[ -n "$missing" ] && why="missing: $missing"
	[ -n "$extra" ] && why="${why}not known to the program: $extra"
	[ "$(wc -w <<<"$2")" -ge 3 ] || why="the program told no words"
	verdict "$1" "$why"
}

# ---- seasonctl(1) and seasond(8)

first_words() { awk '$1 ~ /^[a-z]+$/ { print $1 }'; }
same "seasonctl.1 has the commands" \
	"$("$b/seasonctl" --help | sed -n 's/^  \([a-z]\)/\1/p' | first_words)" \
	"$(part seasonctl.1 COMMANDS | sed -n 's/^\.It Ic \([a-z]*\).*/\1/p')"
same "seasonctl.1 has the options" \
	"$("$b/seasonctl" --help | sed -n 's/^  \(--.*\)/\1/p' | grep -o -- '--[a-z-]*')" \
	"$(part seasonctl.1 DESCRIPTION | sed -n 's/^\.It Fl Fl \([a-z-]*\).*/--\1/p')"
same "seasond.8 has the options" \
	"$("$b/seasond" --help | grep -o -- '^ .*--[a-z-]*' | grep -o -- '--[a-z-]*')" \
	"$(part seasond.8 DESCRIPTION | grep '^\.It' | grep -o 'Fl Fl [a-z-]*' | sed 's/Fl Fl /--/')"
same "seasonctl.1 has the options of import" \
	"$(sed -n 's/^\t{ "\([a-z-]*\)", offsetof.*/\1/p; s/.*ctl_option(c, "\([a-z-]*\)").*/\1/p' daemon/ctl_import.c)" \
	"$(part seasonctl.1 'IMPORT OPTIONS' | sed -n 's/^\.It Fl Fl \([a-z-]*\).*/\1/p')"
same "seasonctl.1 has the findings" \
	"$(sed -n 's/^\t\[FINDING_[A-Z_]*\] = { "\([a-z_]*\)",.*/\1/p' core/finding.c)" \
	"$(part seasonctl.1 FINDINGS | sed -n 's/^\.It Cm \([a-z_]*\).*/\1/p')"

# ---- seasond.conf(5): settings

settings=$("$b/seasond" --print-settings)
for list in "" places sensors sources streams outputs mail layouts; do
	if [ -z "$list" ]; then
		mine=$(sed -n 's/^\([a-z_]*\): .*/\1/p' <<<"$settings")
	else
		mine=$(sed -n "s/^$list\.\([a-z_]*\): .*/\1/p" <<<"$settings")
	fi
	same "seasond.conf.5 has the settings of ${list:-the top}" "$mine" "$(part seasond.conf.5 "${list:-SETTINGS}" | items Ic)"
done

# What a setting accepts and its default begin its item, in the words of --print-settings less the quotes.
accepts() {
	awk -F '; ' '{
		sub(/^[a-z_.]*: /, "")
		sub(/^lower-case letters, digits, - and _, at most 31/, "a name")
		sub(/^a time, such as "15 min", "6 h" or "30 d"/, "a time")
		sub(/^"", /, "")
		sub(/ in quotes/, "")
		sub(/"\/.*\/share\/seasond"/, "/usr/local/share/seasond") # where PREFIX is another
		told = $2 ~ /^(must be given$|default [^"]|default ".)/ && $2 != "default \"\"" ? $2 : "may be left out"
		print tolower($1 "; " told ".")
	}' | tr -d '"'
}
differ=
while read -r line; do
	key=${line%%: *} list=SETTINGS
	case $line in *': a list of groups; '* | mail:*) continue ;; esac
	[ "$key" = "${key#*.}" ] || list=${key%%.*}
	want=$(accepts <<<"$line")
	told=$(part seasond.conf.5 "$list" | awk -v item=".It Ic ${key#*.}" '$0 == item { on = 1; next } /^\./ { on = 0 } on' |
		tr '\n' ' ' | tr '[:upper:]' '[:lower:]')
	case $told in "$want"*) ;; *) differ="$differ $key ($want)" ;; esac
done <<<"$settings"
verdict "seasond.conf.5 has range and default of each setting" "${differ:+other than told by the program:$differ}"

# ---- seasond.conf(5): the library

rows() { sed -n 's/^\t{ "\([a-z_]*\)", FIELD_.*/\1/p' "$1"; }
same "seasond.conf.5 has the settings of builds" "$(rows daemon/library_build.c)" \
	"$(part seasond.conf.5 'builds/\*\.conf' | items Ic)"
same "seasond.conf.5 has the settings of species and finishes" "$(rows daemon/library.c)" \
	"$(part seasond.conf.5 'species\.conf|finishes\.conf' | items Ic)"
kinds=$(sed -n 's/^\t\[CARE_[A-Z_]*\] = "\([a-z-]*\)",/\1/p' daemon/library_care.c)
same "seasond.conf.5 has the settings and kinds of care rules" "$(rows daemon/library_care.c)
$kinds" "$(part seasond.conf.5 'care\.conf' | items Ic)"

# ---- layout

if command -v mandoc >/dev/null; then
	for page in "$man"/*.[1-8]; do
		# whether other pages are installed here is not the page's fault
		verdict "mandoc takes ${page##*/}" "$(mandoc -Tlint "$page" 2>/dev/null | grep -v 'referenced manual not found')"
	done
else
	echo "skipped mandoc takes the pages: mandoc is missing"
fi
exit $failed
