"""Fuzz one target for a while: ``python worker.py TARGET SECONDS FOLDER SEED``.

With Atheris the inputs follow the coverage of our own code; without it they are the corpus, edited
at random. Prints one line of JSON; what raises is left in FOLDER as ``crash-…``.
"""

from __future__ import annotations

import hashlib
import json
import random
import re
import subprocess
import sys
import time
import traceback
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
sys.path[:0] = [str(ROOT), str(HERE)]

# What breaks YAML, JSON, numbers, CSV and dates, to be put anywhere.
SHARDS = [
    b"[", b"]", b"{", b"}", b":", b"- ", b",", b'"', b"'", b"&a ", b"*a", b"|", b"\t", b"\n", b"\r",
    b"\x00", b"\xff", b"\xed\xa0\x80", b"\xe2\x80\xa8", b"nan", b"1e999", b"-1", b"9" * 17,
    b"\\ud800", b"null", b"true", b"2013-07-18T14:00Z", b"0001-01-01", b"#", b"!!python/none ",
    b"[" * 60, b"9" * 400,
]  # fmt: skip
MOST_BYTES = 8192


def mutated(data: bytes, others: list[bytes], dice: random.Random) -> bytes:
    """An input near `data`: bits flipped, parts cut, doubled, replaced, joined with another's."""
    new = bytearray(data)
    for _ in range(dice.randrange(1, 5)):
        at = dice.randrange(len(new) + 1)
        kind = dice.randrange(6)
        if kind == 0 and new:
            new[at % len(new)] ^= 1 << dice.randrange(8)
        elif kind == 1:
            del new[at : at + dice.randrange(1, 20)]
        elif kind == 2:
            new[at:at] = dice.choice(SHARDS)
        elif kind == 3:
            new[at:at] = new[at : at + dice.randrange(1, 60)]
        elif kind == 4:
            new[at : at + 8] = dice.randbytes(8)
        else:
            other = dice.choice(others)
            cut = dice.randrange(len(other) + 1)
            new[at:] = other[cut:]
    return bytes(new[:MOST_BYTES])


def by_mutation(name: str, seconds: float, folder: Path, seed: int) -> dict[str, object]:
    """Fuzz without coverage."""
    from targets import TARGETS, corpus_of

    dice = random.Random(seed)
    corpus = [path.read_bytes() for path in corpus_of(name)]
    until_s = time.monotonic() + seconds
    tried = crashes = 0
    while time.monotonic() < until_s:
        data = mutated(dice.choice(corpus), corpus, dice)
        tried += 1
        try:
            TARGETS[name](data)
        except Exception:
            crashes += 1
            crash = folder / f"crash-{hashlib.sha256(data).hexdigest()[:12]}"
            crash.write_bytes(data)
            traceback.print_exc()
            if crashes >= 10:
                break
    return {"engine": "mutation of the corpus", "inputs": tried, "crashes": crashes}


def by_coverage(name: str, seconds: float, folder: Path, seed: int) -> dict[str, object]:
    """Fuzz with Atheris, in a process of its own, which ends at the first crash."""
    grown = folder / "grown"
    grown.mkdir(exist_ok=True)
    command = [
        sys.executable, __file__, "--atheris", name, str(grown), str(HERE / "corpus" / name),
        f"-max_total_time={seconds:.0f}", f"-seed={seed}", f"-max_len={MOST_BYTES}",
        f"-artifact_prefix={folder}/", "-print_final_stats=1", "-timeout=20", "-rss_limit_mb=1500",
    ]  # fmt: skip
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    tried = re.search(r"stat::number_of_executed_units: (\d+)", done.stderr)
    covered = re.findall(r"cov: (\d+)", done.stderr)
    if tried is None or done.returncode:
        sys.stderr.write(done.stdout[-3000:] + done.stderr[-1500:])
    return {
        "engine": "Atheris",
        "inputs": int(tried[1]) if tried else 0,
        "crashes": int(done.returncode != 0),
        "edges": int(covered[-1]) if covered else 0,
    }


def atheris_main(name: str, arguments: list[str]) -> None:
    """Run libFuzzer on a target."""
    import atheris

    with atheris.instrument_imports(include=["controller", "simulators", "json", "csv"]):
        from targets import TARGETS
    atheris.Setup([sys.argv[0], *arguments], TARGETS[name], enable_python_coverage=True)
    atheris.Fuzz()


def main() -> None:
    """Fuzz as the arguments say."""
    name, seconds, folder, seed = sys.argv[1:]
    try:
        import atheris  # noqa: F401
    except ImportError:
        result = by_mutation(name, float(seconds), Path(folder), int(seed))
    else:
        result = by_coverage(name, float(seconds), Path(folder), int(seed))
    print(json.dumps({"target": name, "seconds": float(seconds), **result}))


if __name__ == "__main__":
    if sys.argv[1] == "--atheris":
        atheris_main(sys.argv[2], sys.argv[3:])
    else:
        main()
