"""Many mutated files through the readers: python -m tests.fuzz.run 1000000 [SEED] [TARGET ...]

A traceback, an input that takes longer than five seconds of processor time and memory over a gigabyte are failures; each
is printed with the bytes that brought it about, and the run ends with exit code 1.
"""

from __future__ import annotations

import random
import resource
import signal
import sys
import time
import traceback
from collections import Counter

from tests.fuzz.targets import check, mutate, seeds

SHARES = {"case": 25, "file": 40, "knowledge": 1, "journal": 9, "replay": 11, "trail": 5, "verify": 1,
          "answers": 5, "shared": 3}  # fmt: skip
LONGEST = 5
LARGEST = 20_000


def _late(*_: object) -> None:
    raise TimeoutError("an input took too long")


def main(count: int, seed: int, only: list[str]) -> int:
    resource.setrlimit(resource.RLIMIT_AS, (4 << 30, 4 << 30))
    signal.signal(signal.SIGVTALRM, _late)
    mixer = random.Random(seed)
    names = only or list(SHARES)
    pool = {name: list(seeds()[name]) for name in names}
    done: Counter[str] = Counter()
    refused: Counter[str] = Counter()
    failures: dict[str, tuple[str, bytes]] = {}
    slowest, start = 0.0, time.monotonic()
    for _ in range(count):
        (name,) = mixer.choices(names, [SHARES[n] for n in names])
        data = mutate(mixer.choice(pool[name]), mixer)
        began = time.process_time()
        signal.setitimer(signal.ITIMER_VIRTUAL, LONGEST)
        was_refused = True
        try:
            was_refused = check(name, data)
            refused[name] += was_refused
        except BaseException as error:
            if isinstance(error, KeyboardInterrupt):
                break
            last = traceback.extract_tb(error.__traceback__)[-1]
            failures.setdefault(
                f"{name}: {type(error).__name__} at {last.filename}:{last.lineno}: {error}"[:300], (name, data)
            )
        finally:
            signal.setitimer(signal.ITIMER_VIRTUAL, 0)
        slowest = max(slowest, time.process_time() - began)
        done[name] += 1
        # what was taken stays in the pool, so that changes add up
        if was_refused or len(data) > LARGEST:
            continue
        if len(pool[name]) < len(seeds()[name]) + 200:
            pool[name].append(data)
        else:
            pool[name][mixer.randrange(len(seeds()[name]), len(pool[name]))] = data
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    took = time.monotonic() - start
    print(
        f"{sum(done.values())} inputs in {took:.0f} s: {dict(done)}; refused by exception {dict(refused)}; slowest {slowest:.2f} s; peak {peak:.0f} MiB"
    )
    for told, (name, data) in sorted(failures.items()):
        print(f"FAILED {told}\n  {name} {data[:400]!r}")
    return 1 if failures or peak > 1024 else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 0, sys.argv[3:]))
