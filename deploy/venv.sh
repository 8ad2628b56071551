# Sourced by deploy/up and deploy/test: makes .venv and puts both distributions into it.
# Nothing outside .venv is used but a Python 3.11 or newer; nothing is installed elsewhere.
# shellcheck shell=bash

fail() {
    printf '%s: %s\n' "deploy/$(basename "$0")" "$1" >&2
    exit "${2:-1}"
}

say() { printf '%s: %s\n' "deploy/$(basename "$0")" "$1"; }

# What the caller's shell may carry must not reach into .venv.
unset PYTHONPATH PYTHONHOME PYTHONSTARTUP PYTHONDONTWRITEBYTECODE VIRTUAL_ENV PIP_TARGET PIP_PREFIX PIP_ROOT PIP_USER
export PYTHONNOUSERSITE=1 PIP_NO_INPUT=1 PIP_DISABLE_PIP_VERSION_CHECK=1

is_new_enough() {
    "$1" -c 'import sys; sys.exit(sys.version_info < (3, 11))' >/dev/null 2>&1 </dev/null
}

find_python() {
    local name
    for name in python3.13 python3.12 python3.11 python3 python; do
        if is_new_enough "$name"; then
            command -v "$name"
            return
        fi
    done
    fail "burrline needs Python 3.11 or newer, and none is on PATH (Debian 12 and later: apt install python3 python3-venv)" 69
}

make_venv() { # PYTHON: an empty virtual environment in .venv, by whatever means it has
    rm -rf .venv
    "$1" -m venv .venv && return
    rm -rf .venv
    "$1" -m virtualenv .venv && return
    virtualenv --python "$1" .venv && return
    rm -rf .venv
    return 1
}

# What the installation depends on; it is repeated when this changes, and only then.
fingerprint() {
    .venv/bin/python - "$PWD" <<'END'
import hashlib, pathlib, sys

digest = hashlib.sha256(f"{sys.argv[1]} {sys.version}".encode())
for name in ("pyproject.toml", "sdk/pyproject.toml", "deploy/constraints.txt"):
    digest.update(pathlib.Path(name).read_bytes())
print(digest.hexdigest())
END
}

prepare() { # EXTRA: .venv with both distributions and the named extra (demo or test)
    local extra=$1 python wanted stamp
    if command -v flock >/dev/null 2>&1; then # one at a time, or both spoil .venv
        exec 9>.venv-lock || fail "cannot write to $PWD" 73
        flock -n 9 || { say "waiting for another installation into .venv" && flock 9; }
    fi
    if ! is_new_enough .venv/bin/python; then
        python=$(find_python) || exit
        say "making .venv with $("$python" --version)"
        make_venv "$python" >/dev/null 2>&1 </dev/null ||
            fail "$python cannot make a virtual environment (Debian: apt install $(basename "$python")-venv)" 69
    fi
    wanted=$(fingerprint) || fail "cannot read the project's files"
    stamp=.venv/burrline-installed
    if [ "$(cat "$stamp-$extra" 2>/dev/null)" = "$wanted" ]; then
        exec 9>&-
        return
    fi
    if [ "$extra" = demo ] && [ "$(cat "$stamp-test" 2>/dev/null)" = "$wanted" ]; then
        exec 9>&-
        return # the tests' set holds all of the demo's
    fi
    say "installing into .venv (a minute or two, the first time only)"
    rm -f "$stamp"-*
    # One command for both: a bare "burrline" must be the one beside us.
    .venv/bin/python -m pip install --constraint deploy/constraints.txt \
        --editable ./sdk --editable ".[$extra]" </dev/null ||
        fail "pip could not install the packages; its words are above" 69
    printf '%s\n' "$wanted" >"$stamp-$extra"
    exec 9>&-
}
