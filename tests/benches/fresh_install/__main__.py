"""The Debian package, from source to purge; ../fresh_install.sh is the command and the manual."""

from __future__ import annotations

import argparse
import datetime as dt
import hashlib
import json
import shutil
import sys
import tempfile
import time
from pathlib import Path

import packages
import roots
from container import Container
from debian_host import StepError
from life import Life


def main() -> int:
    """Run the bench."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--json", type=Path)
    parser.add_argument("--keep", type=Path)
    args = parser.parse_args()
    began_s = time.monotonic()

    def say(text: str) -> None:
        print(f"[{time.monotonic() - began_s:5.0f} s] {text}", flush=True)

    figures: dict[str, object] = {"suite": roots.SUITE}
    cache = roots.cache_directory()
    with tempfile.TemporaryDirectory(prefix="lungwort-fresh-") as temporary:
        work = Path(temporary)
        say(f"{roots.SUITE}, and what the build asks for; built unless kept from the last time")
        builder = roots.copy(roots.builder(cache), work / "builder")
        system = roots.copy(roots.system(cache), work / "system")
        life = Life(say)
        first = packages.build(builder, "0.1.0", "tmp/a", "022", "UTC")
        again = packages.build(builder, "0.1.0", "home/somebody/b", "077", "Asia/Tokyo")
        digests = [hashlib.sha256(deb.read_bytes()).hexdigest() for deb in (first, again)]
        life.check("built twice, the same bytes", digests[0] == digests[1], digests)
        errors, warnings = packages.lint(builder, first)
        life.check("lintian: no errors", not errors, errors)
        figures |= {
            "sha256": digests[0],
            "size_kib": round(first.stat().st_size / 1024),
            "lintian_warnings": warnings,
        }
        if args.keep is not None:
            shutil.copy(first, args.keep)
        debs = {
            "good": first,
            "gpiozero": packages.gpiozero(builder, work),
            "newer": packages.changed(builder, first, "0.1.1", {}),
            "no_run": packages.changed(builder, first, "0.1.2", _broken("run")),
            "no_check": packages.changed(builder, first, "0.1.3", _broken("check")),
            "mended": packages.changed(builder, first, "0.1.4", {}),
        }
        for name, deb in debs.items():
            shutil.copy(deb, system / "root" / f"{name}.deb")
        tent = roots.ROOT / "tests/benches/power_cut/tents/chillies.yaml"
        shutil.copy(tent, system / "root" / "chillies.yaml")
        say("the packages are built")
        container = Container(system, work / "console.log")
        try:
            say("the system has booted")
            life.live(container)
        except StepError as failure:
            life.check("all of it could be tried", False, failure)
        finally:
            container.power_off()
    failed = [what for what, holds in life.results if not holds]
    figures |= {
        "checked": len(life.results),
        "failed": failed,
        "install_s": life.install_s,
        "took_s": round(time.monotonic() - began_s),
        "run_on": dt.datetime.now(dt.UTC).date().isoformat(),
    }
    if args.json is not None:
        args.json.write_text(json.dumps(figures, indent=1) + "\n", "utf-8")
    print(f"fresh install: {'FAILED' if failed else 'passed'}, {len(life.results)} checks")
    return 1 if failed else 0


def _broken(command: str) -> dict[str, tuple[str, str]]:
    """A version in which one command can't work."""
    where = f"usr/share/lungwort/controller/commands/{command}.py"
    return {where: ("import argparse\n", "import argparse\nimport no_such_module\n")}


if __name__ == "__main__":
    sys.exit(main())
