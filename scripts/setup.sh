# Sourced by ./run and ./check: makes .venv from the hashed requirement file named in $1, and this project in it.
# Nothing outside this folder is changed. FETTLEBOOK_PIP=1 installs with pip alone (slower, no extra tool).
set_up() {
  local want=$1 stamp
  stamp=$(cat "$want" requirements/uv.txt pyproject.toml | sha256sum | cut -d' ' -f1)
  if [ -f .venv/ok ] && { [ "$(cat .venv/ok)" = "$want $stamp" ] || { [ "$want" = requirements/run.txt ] && [ -f .venv/ok.run ] && [ "$(cat .venv/ok.run)" = "$stamp" ]; }; }; then return; fi
  local py=""
  for p in python3.14 python3.13 python3.12 python3.11 python3; do
    if command -v "$p" >/dev/null && "$p" -c 'import sys, venv, ensurepip; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then py=$p; break; fi
  done
  if [ -z "$py" ]; then
    echo "Python 3.11 or newer with venv was not found. On Debian or Ubuntu: sudo apt-get install python3 python3-venv" >&2; exit 2
  fi
  echo "Setting up .venv ($want) ..." >&2
  [ -x .venv/bin/python ] && .venv/bin/python -c 'import pip' 2>/dev/null || { rm -rf .venv; "$py" -m venv .venv; }
  rm -f .venv/ok
  .venv/bin/pip install --quiet --disable-pip-version-check --require-hashes -r requirements/uv.txt
  if [ "${FETTLEBOOK_PIP:-}" = 1 ]; then
    .venv/bin/pip install --quiet --disable-pip-version-check --require-hashes --only-binary :all: -r "$want"
    .venv/bin/pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation -e .
  else
    .venv/bin/uv pip install --quiet --python .venv/bin/python --require-hashes -r "$want"
    .venv/bin/uv pip install --quiet --python .venv/bin/python --no-deps --no-build-isolation -e .
  fi
  echo "$want $stamp" > .venv/ok
  # the test set holds the run set, so ./run after ./check need not install again
  cat requirements/run.txt requirements/uv.txt pyproject.toml | sha256sum | cut -d' ' -f1 > .venv/ok.run
}
