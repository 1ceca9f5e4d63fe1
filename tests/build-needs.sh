#!/usr/bin/env bash
# Installs what the build needs and this machine lacks: a C++ compiler, make, cmake and libclang
# (the HiGHS library is built from source). Names given as arguments are Debian packages that the
# caller needs besides. Without apt-get or the rights to use it, says what to install and stops.
set -euo pipefail

missing=("$@")

have_libclang() {
    local place
    for place in "${LIBCLANG_PATH:-/nowhere}" /usr/lib /usr/lib64 /usr/local/lib \
        /usr/lib/*-linux-gnu /usr/lib/llvm*/lib /usr/local/opt/llvm/lib /opt/homebrew/opt/llvm/lib; do
        compgen -G "$place/libclang.so*" >/dev/null && return 0
        # Not libclang-cpp, which is another library.
        compgen -G "$place/libclang-[0-9]*.so*" >/dev/null && return 0
        compgen -G "$place/libclang.dylib" >/dev/null && return 0
    done
    return 1
}

if ! command -v c++ >/dev/null || ! command -v make >/dev/null; then missing+=(build-essential); fi
command -v cmake >/dev/null || missing+=(cmake)
have_libclang || missing+=(libclang-dev)

if ! command -v cargo >/dev/null; then
    echo "cargo is missing: install Rust 1.92 or newer first, see https://rustup.rs" >&2
    exit 1
fi

[ ${#missing[@]} -gt 0 ] || exit 0

as_root=()
if [ "$(id -u)" -ne 0 ]; then as_root=(sudo); fi
if ! command -v apt-get >/dev/null || { [ "$(id -u)" -ne 0 ] && ! command -v sudo >/dev/null; }; then
    {
        echo "missing, by their names in Debian: ${missing[*]}"
        echo "Install them with your system's package manager and run this again. cmake and libclang"
        echo "also come from PyPI: pip install cmake libclang, then point LIBCLANG_PATH at the folder"
        echo "clang/native of that package."
    } >&2
    exit 1
fi
echo "installing ${missing[*]}"
# Package lists may be absent or stale.
"${as_root[@]}" apt-get update -qq
"${as_root[@]}" env DEBIAN_FRONTEND=noninteractive \
    apt-get install -qq -y --no-install-recommends "${missing[@]}" >/dev/null
