"""The same targets under a coverage-guided fuzzer: python -m tests.fuzz.run_atheris [libFuzzer options]

The first byte chooses the target. Needs `pip install atheris`; for example `-runs=100000 -max_len=4000 -timeout=5`.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["diagnose"]):
    from tests.fuzz.targets import TARGETS, check, seeds

NAMES = sorted(n for n in TARGETS if n != "verify")


def one(data: bytes) -> None:
    if data:
        check(NAMES[data[0] % len(NAMES)], data[1:])


def main() -> None:
    with tempfile.TemporaryDirectory() as corpus:
        for i, name in enumerate(NAMES):
            for k, seed in enumerate(seeds()[name]):
                (Path(corpus) / f"{name}-{k}").write_bytes(bytes([i]) + seed)
        atheris.Setup([*sys.argv, corpus], one)
        atheris.Fuzz()


if __name__ == "__main__":
    main()
