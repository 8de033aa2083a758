#!/bin/bash
# make install into an empty root: everything in place and working from there, nothing people edit overwritten,
# and make uninstall leaves only that. B: build folder, copied so that its own paths stay as they are.
set -u
cd "$(dirname "$0")/../.." || exit 1
build=${B:-build}
dir=$(mktemp -d)
trap 'rm -rf "$dir"' EXIT
root=$dir/root
failed=0

# check NAME COMMAND...: the command succeeds
check() {
	local name=$1
	shift
	if "$@" >"$dir/out" 2>&1; then
		echo "ok $name"
	else
		echo "not ok $name"
		failed=1
		head -c 3000 "$dir/out"
	fi
}

if grep -q __asan_init "$build/seasond"; then
	echo "skipped install: a sanitized build is not for installing"
	exit 0
fi
mkdir "$dir/build" && cp -a "$build"/{.paths,core,daemon,lib*.a,seasond,seasonctl} "$dir/build/"

make_for_root() {
	make -s B="$dir/build" DESTDIR="$root" PREFIX=/usr SYSCONFDIR=/etc "$@"
}

files() {
	(cd "$root" && find . -type f -printf '%m %P\n' | sort -k2)
}

wanted() {
	echo "755 usr/bin/seasonctl"
	echo "755 usr/sbin/seasond"
	echo "644 usr/lib/systemd/system/seasond.service"
	echo "644 usr/lib/sysusers.d/seasond.conf"
	echo "644 usr/lib/tmpfiles.d/seasond.conf"
	echo "644 usr/share/man/man1/seasonctl.1"
	echo "644 usr/share/man/man5/seasond.conf.5"
	echo "644 usr/share/man/man8/seasond.8"
	echo "644 usr/share/seasond/network.conf"
	(cd conf && find . -type f -printf '644 usr/share/seasond/%P\n')
}

everything_is_there() {
	files | diff <(wanted | sort -k2) -
}

programs_run() {
	[ "$("$root/usr/sbin/seasond" --version)" = "seasond $version" ] &&
		[ "$("$root/usr/bin/seasonctl" --version)" = "seasonctl $version" ] &&
		"$root/usr/sbin/seasond" --print-settings | grep -F '"/usr/share/seasond"' &&
		"$root/usr/sbin/seasond" --help | grep -F '/etc/seasond/seasond.conf'
}

# The example as it is, but for where its folders are.
example_has_no_fault() {
	mkdir -p "$dir/state/in" "$dir/state/calendars" &&
		sed -e "s|/var/lib/seasond|$dir/state|g" -e "1i library = [ \"$root/usr/share/seasond\" ];" \
			"$root/usr/share/seasond/seasond.conf.example" >"$dir/seasond.conf" &&
		mkdir -p "$dir/state/spool" &&
		"$root/usr/bin/seasonctl" --config "$dir/seasond.conf" check
}

unit_names_what_is_there() {
	! grep -n '@' "$root/usr/lib/systemd/system/seasond.service" | grep -v '@system-service\|@privileged' &&
		sed -n 's/^Exec[^=]*=-\{0,1\}\([^ ]*\).*/\1/p' "$root/usr/lib/systemd/system/seasond.service" |
		grep -v ^/bin/ | while read -r program; do [ -x "$root$program" ] || exit 1; done
}

# The manager looks for programs and manual pages in the root of this machine.
unit_is_well_spelled() {
	sed -e "s|=\(-\{0,1\}\)/usr/|=\1$root/usr/|" -e '/^Documentation=/d' "$root/usr/lib/systemd/system/seasond.service" \
		>"$dir/seasond.service"
	systemd-analyze verify --man=no "$dir/seasond.service" && ! grep . "$dir/out"
}

unit_exposes_little() {
	systemd-analyze security --offline=true --threshold=12 "$root/usr/lib/systemd/system/seasond.service"
}

edited_files_stay() {
	mkdir -p "$root/etc/seasond/library" && echo 'zone = "UTC";' >"$root/etc/seasond/seasond.conf" &&
		echo 'rules = ();' >"$root/etc/seasond/library/care.conf" && cp -a "$root/etc" "$dir/etc" &&
		make_for_root install && diff -r "$root/etc" "$dir/etc"
}

uninstall_leaves_what_people_edit() {
	make_for_root uninstall && diff -r "$root/etc" "$dir/etc" && [ "$(files | grep -vc ' etc/seasond/')" = 0 ]
}

version=$(sed -n 's/^VERSION := //p' Makefile)
check install make_for_root install
check everything_is_there everything_is_there
check programs_run_from_there programs_run
check example_has_no_fault example_has_no_fault
check unit_names_what_is_there unit_names_what_is_there
if systemd-analyze --version >/dev/null 2>&1; then
	check unit_is_well_spelled unit_is_well_spelled
	check unit_exposes_little unit_exposes_little
else
	echo "skipped unit_is_well_spelled: no systemd-analyze"
fi
if command -v man >/dev/null; then
	for page in "$root"/usr/share/man/man*/*; do
		check "man_page_${page##*/}" bash -c 'man --warnings -E UTF-8 -l "$0" 2>&1 >/dev/null | diff /dev/null -' "$page"
	done
else
	echo "skipped man_pages: no man"
fi
check edited_files_stay edited_files_stay
check uninstall_leaves_what_people_edit uninstall_leaves_what_people_edit
exit $failed
