#!/usr/bin/python3
"""Runs the stories of README.md as they stand and looks for the output they promise."""
import os
import re
import shutil
import subprocess
import sys
import tempfile

ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
BUILD = os.path.join(ROOT, os.environ.get("B", "build"))


def stories():
    """Lists of (command, promised output) for each marked block."""
    text = open(os.path.join(ROOT, "README.md"), encoding="utf-8").read()
    for block in re.findall(r"<!-- story -->\n((?:    .*\n)+)", text):
        steps = []
        for line in block.splitlines():
            line = line[4:]
            if line.startswith("$ "):
                steps.append([line[2:], ""])
            else:
                steps[-1][1] += line + " "
        yield steps


def squeeze(text):
    return " ".join(text.split())


def holds(promise, output):
    """Every piece of the promise between `...` stands in the output, in order."""
    at = 0
    for piece in promise.split("..."):
        piece = squeeze(piece)
        found = output.find(piece, at)
        if found < 0:
            return piece
        at = found + len(piece)
    return None


def run(steps, folder):
    env = dict(os.environ, PATH=BUILD + ":" + os.environ["PATH"], SEASOND_CONFIG="seasond.conf")
    for command, promise in steps:
        done = subprocess.run(command, shell=True, cwd=folder, env=env, capture_output=True, text=True, timeout=300)
        if done.returncode != 0:
            return "%s: exit status %d: %s" % (command, done.returncode, done.stderr)
        missing = holds(promise, squeeze(done.stdout))
        if missing:
            return "%s: no \"%s\" in:\n%s" % (command, missing, done.stdout)
    return None


def main():
    folder = tempfile.mkdtemp(prefix="seasond-readme-")
    bad = 0
    try:
        for name in ("spool", "calendars"):
            os.mkdir(os.path.join(folder, name))
        settings = open(os.path.join(ROOT, "tests/demo/seasond.conf"), encoding="utf-8").read()
        with open(os.path.join(folder, "seasond.conf"), "w", encoding="utf-8") as f:
            f.write(settings.replace("../../conf", os.path.join(ROOT, "conf")))
        subprocess.run([os.path.join(BUILD, "tests/demo/make_readings"), folder], check=True)
        count = 0
        for count, steps in enumerate(stories(), 1):
            fault = run(steps, folder)
            print("%s story %d: %s" % ("not ok" if fault else "ok", count, steps[0][0]))
            if fault:
                print(fault)
                bad = 1
        if count < 4:
            print("not ok README.md has %d stories" % count)
            bad = 1
    finally:
        shutil.rmtree(folder)
    return bad


sys.exit(main())
