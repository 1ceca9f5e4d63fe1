#!/bin/sh
# Makes a Python environment with pinned packages: tests/venv.sh ENVIRONMENT REQUIREMENTS. It is made
# anew whenever the pinned versions change.
set -eu
venv=$1
requirements=$2
if ! cmp -s "$requirements" "$venv/requirements.txt"; then
    rm -rf "$venv"
    python3 -m venv "$venv"
    "$venv/bin/pip" install --quiet --disable-pip-version-check -r "$requirements"
    cp "$requirements" "$venv/requirements.txt"
fi
