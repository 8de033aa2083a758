#!/bin/bash
# core/air.c beside psychrolib, which is written apart from it.
# B: build folder. SEASOND_NODE_MODULES: where psychrolib is.
set -u
here=$(cd "$(dirname "$0")" && pwd)
build=${B:-build}
modules=${SEASOND_NODE_MODULES:-$build/npm/node_modules}
case $modules in /*) ;; *) modules=$PWD/$modules ;; esac
export SEASOND_NODE_MODULES=$modules

if [ ! -d "$modules/psychrolib" ]; then
	echo "skipped air_reference: no psychrolib in $modules (make deps)"
	exit 0
fi
set -o pipefail
"$build/tests/system/print_air" | node "$here/../npm/compare_air.mjs" || {
	[ $? = 1 ] || echo "not ok air_reference"
	exit 1
}
