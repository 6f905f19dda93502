"""The tests on the libraries of Debian; debian_libraries.sh is the command and its manual."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tempfile
from pathlib import Path

from debian_host import run
from unpacked import ROOT, cache_directory, inside, root_of

_LONGEST_S = 3 * 3600.0
# Building a package takes tools that a root with nothing but Python lacks.
_NOT_TRIED = {"benches", "benchmarks", "packaging"}
# In the root: which of some modules can be imported, and the versions of those that matter.
_MODULES = """
import importlib.metadata, importlib.util, platform, sys
missing = [m for m in sys.argv[1].split(",") if importlib.util.find_spec(m) is None]
print(",".join(missing))
names = "PyYAML", "structlog", "APScheduler", "shtab", "gpiozero", "gpiod", "hypothesis", "pytest"
known = {d.metadata["Name"].lower(): d.version for d in importlib.metadata.distributions()}
versions = [f"{n} {known[n.lower()]}" for n in names if n.lower() in known]
print(f"Python {platform.python_version()}, " + ", ".join(versions))
"""


def main() -> int:
    """Run the bench."""
    wanted = sys.argv[1:] or ["tests"]
    files = sorted({path for name in wanted for path in _test_files(ROOT / name)})
    root = root_of("amd64", cache_directory())
    with tempfile.TemporaryDirectory(prefix="lungwort-debian-") as temporary:
        work = Path(temporary)
        _put_source(work / "source")
        mounts = ((str(work), "srv"), ("/dev", "dev"), ("proc", "proc"))
        for source, directory in mounts:
            how = ["-t", "proc"] if directory == "proc" else ["--bind"]
            run(["mount", *how, source, str(root / directory)])
        try:
            return _try(root, files, wanted)
        finally:
            for _, directory in reversed(mounts):
                run(["umount", "--lazy", str(root / directory)])  # a child may be left


def _test_files(path: Path) -> list[Path]:
    if path.is_file():
        return [path]
    return [p for p in path.rglob("*.py") if not _NOT_TRIED & set(p.parts)]


def _put_source(target: Path) -> None:
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=True)
    for name in listed.stdout.decode().split("\0"):
        if name and (ROOT / name).is_file():
            (target / name).parent.mkdir(parents=True, exist_ok=True)
            (target / name).write_bytes((ROOT / name).read_bytes())
            (target / name).chmod((ROOT / name).stat().st_mode)


def imported(path: Path) -> set[str]:
    """The top-level modules that a file imports as it is loaded."""
    names: set[str] = set()
    for node in ast.parse(path.read_text("utf-8")).body:
        if isinstance(node, ast.Import):
            names |= {alias.name.partition(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            names.add(node.module.partition(".")[0])
    return names


def _try(root: Path, files: list[Path], wanted: list[str]) -> int:
    needs = {path: imported(path) for path in files}
    here = {path.stem for path in (ROOT / "tests").rglob("*.py")} | {"controller", "simulators"}
    modules = sorted(set().union(*needs.values()) - here - {"__future__"})
    (root / "srv/modules.py").write_text(_MODULES, "utf-8")
    _, said = inside(root, "amd64", f"python3 /srv/modules.py {','.join(modules)}", 600.0)
    missing, versions = said.splitlines()[-2:]
    print(f"On Debian's {versions}")
    left_out = {p: sorted(n & set(missing.split(","))) for p, n in needs.items()}
    left_out = {path: lacking for path, lacking in left_out.items() if lacking}
    for path, lacking in left_out.items():
        print(f"left out: {path.relative_to(ROOT)}, which imports {', '.join(lacking)}")
    ignored = " ".join(f"--ignore={path.relative_to(ROOT)}" for path in left_out)
    status, said = inside(
        root,
        "amd64",
        "cd /srv/source && python3 -m pytest -o addopts= -q -p no:cacheprovider --timeout=0 "
        f"--tb=line --ignore=tests/packaging {ignored} {' '.join(wanted)}",
        _LONGEST_S,
    )
    print("\n".join(re.findall(r"^(?:FAILED|ERROR|/|E  ).*$", said, re.MULTILINE)))
    print(said.splitlines()[-1] if said else "pytest said nothing")
    print(f"Debian's libraries: {'passed' if status == 0 else 'FAILED'}")
    return 0 if status == 0 else 1


if __name__ == "__main__":
    sys.exit(main())
