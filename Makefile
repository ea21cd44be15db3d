# Two commands do everything: `make demo` and `make test`. Both set up what they need.
PY := .venv/bin/python
SETUP := .venv/.setup

.PHONY: demo test lint types unit js browser-tools bench setup clean

setup: $(SETUP)

$(SETUP): pyproject.toml .ci/constraints.txt
	test -x $(PY) || python3 -m venv .venv
	$(PY) -m pip install --quiet --disable-pip-version-check -c .ci/constraints.txt -e '.[dev]'
	touch $@

demo: $(SETUP)
	$(PY) -m roomlink serve config/tidewater --open --port 8080 --data data/tidewater

test: $(SETUP) browser-tools lint types js unit

lint: $(SETUP)
	.venv/bin/ruff check .
	.venv/bin/ruff format --check .

types: $(SETUP)
	.venv/bin/mypy

# Debian's packages for the tests; the running service needs none of them.
browser-tools:
	.ci/tools

js: browser-tools
	cd clients/web && test -d node_modules/axe-core || (npm install --no-save --no-package-lock --no-audit --no-fund --loglevel=error)
	cd clients/web && npx tsc --project . && node --test test/*.test.js

# Three at a time, a file in one of them: most tests wait for something real, and two cores have room for that.
unit: $(SETUP)
	.venv/bin/pytest -n 3 --dist loadfile

bench: $(SETUP)
	$(PY) -m tests.bench

clean:
	rm -rf .venv clients/web/node_modules data
