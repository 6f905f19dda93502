"""lungwort from nothing to purged; ../fresh_install.sh is the command and the manual."""

from __future__ import annotations

import argparse
import datetime as dt
import hashlib
import json
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import packages
import roots
from container import Container
from debian_host import StepError
from life import Life
from overlay import Overlay, data_commands
from ways import PACKAGE, PACKAGE_ALONE, SCRIPT


def main() -> int:
    """Run the bench."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--suite", choices=(roots.SUITE, "bookworm"), default=roots.SUITE)
    parser.add_argument("--guest", action="store_true")
    parser.add_argument("--json", type=Path)
    parser.add_argument("--keep", type=Path)
    args = parser.parse_args()
    began_s = time.monotonic()
    # Ended from outside: the guest goes off and the temporary files go all the same.
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))

    def say(text: str) -> None:
        print(f"[{time.monotonic() - began_s:5.0f} s] {text}", flush=True)

    with tempfile.TemporaryDirectory(prefix="lungwort-fresh-") as temporary:
        if args.guest:
            life, figures = _in_guest(Path(temporary), say, args.suite)
        elif args.suite == roots.SUITE:
            life, figures = _package_in_container(Path(temporary), say, args.keep)
        else:
            life, figures = _script_in_container(Path(temporary), say, args.suite)
    failed = [what for what, holds in life.results if not holds]
    figures |= {
        "checked": len(life.results),
        "failed": failed,
        "install_s": life.install_s,
        "took_s": round(time.monotonic() - began_s),
        "run_on": dt.datetime.now(dt.UTC).date().isoformat(),
    }
    if args.json is not None:
        _keep(args.json, f"{args.suite}, {'guest' if args.guest else 'container'}", figures)
    print(f"fresh install: {'FAILED' if failed else 'passed'}, {len(life.results)} checks")
    return 1 if failed else 0


def _keep(path: Path, where: str, figures: dict[str, object]) -> None:
    """Put the figures of one form beside those of the others."""
    kept = json.loads(path.read_text("utf-8")) if path.exists() else {}
    path.write_text(json.dumps(kept | {where: figures}, indent=1) + "\n", "utf-8")


def _in_guest(work: Path, say: Callable[[str], None], suite: str) -> tuple[Life, dict[str, object]]:
    """As a person has it, on a whole machine."""
    # What needs QEMU is read by this form alone.
    from guest import Guest, build
    from guest_life import GuestLife
    from image import BuildError
    from machine import MachineError

    on_trixie = suite == roots.SUITE
    life = GuestLife(say, PACKAGE_ALONE if on_trixie else SCRIPT)
    try:
        built = build(suite, roots.cache_directory(), work, say)
    except (BuildError, StepError) as error:
        sys.exit(f"fresh install: FAILED: {error}")
    guest = Guest(built, work)
    try:
        guest.boot()
        say("the guest is up")
        life.live_in(guest, read_only=on_trixie)
    except (StepError, MachineError) as failure:
        life.check("all of it could be tried", False, failure)
    finally:
        guest.power_off()
    return life, {"suite": suite, "kernel": "Debian's own, its gpio-sim compiled from its source"}


def _script_in_container(
    work: Path, say: Callable[[str], None], suite: str
) -> tuple[Life, dict[str, object]]:
    """install.sh from nothing to purged, in a booted container made of the guest's root."""
    from guest import with_source
    from image import debian

    root = roots.copy(debian(roots.cache_directory(), say, suite), work / "system")
    with_source(root, work)
    # For a machine that is to look like a Pi.
    (root / "etc/systemd/system/lungwort@.service.d/is-a-pi.conf").unlink()
    tent = roots.ROOT / "tests/benches/power_cut/tents/chillies.yaml"
    shutil.copy(tent, root / "root/chillies.yaml")
    life = Life(say, SCRIPT)
    container = Container(root, work / "console.log")
    try:
        say("the system has booted")
        life.go_through(
            container, life.installed, life.mocked, life.started, life.removed, life.purged
        )
    except StepError as failure:
        life.check("all of it could be tried", False, failure)
    finally:
        container.power_off()
    return life, {"suite": suite}


def _package_in_container(
    work: Path, say: Callable[[str], None], keep: Path | None
) -> tuple[Life, dict[str, object]]:
    """Built twice, then its life with its upgrades, in a booted container."""
    figures: dict[str, object] = {"suite": roots.SUITE}
    cache = roots.cache_directory()
    say(f"{roots.SUITE}, and what the build asks for; built unless kept from the last time")
    builder = roots.copy(roots.builder(cache), work / "builder")
    system = roots.copy(roots.system(cache), work / "system")
    life = Life(say, PACKAGE)
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
    if keep is not None:
        shutil.copy(first, keep)
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
    bench = roots.ROOT / "tests/benches/power_cut"
    for tent in (bench / "tents").glob("*.yaml"):
        shutil.copy(tent, system / "root")
    shutil.copy(bench / "guest/bench_record.py", system / "usr/local/sbin")
    say("the packages are built")
    container = Container(system, work / "console.log")
    try:
        say("the system has booted")
        life.live(container)
        container = _read_only(life, container, work, say)
        life.go_through(container, life.removed, life.installed_again, life.purged)
    except StepError as failure:
        life.check("all of it could be tried", False, failure)
    finally:
        container.power_off()
    return life, figures


def _read_only(
    life: Life, container: Container, work: Path, say: Callable[[str], None]
) -> Container:
    """Its root under an overlay whose upper layer is memory, a directory of the host as the data.

    Returns
    -------
    Container
        Its root written to again.
    """
    data = (f"--bind={work / 'data'}:/data",)
    (work / "data").mkdir()

    def boot(way: str) -> Container:
        nonlocal container
        container.power_off()
        options = data if way == "as before" else (*data, "--volatile=overlay")
        container = Container(container.root, work / "console.log", options)
        return container

    try:
        overlay = Overlay(life, boot)
        overlay.prepare(
            boot("as before"),
            "install -d -o lungwort -g lungwort -m750 /data/lungwort",
            data_commands()[1].replace("After=data.mount", ""),
        )
        overlay.root_alone("root under an overlay")
        say("a read-only root done")
    finally:
        boot("as before")
    return container


def _broken(command: str) -> dict[str, tuple[str, str]]:
    """A version in which one command can't work."""
    where = f"usr/share/lungwort/controller/commands/{command}.py"
    return {where: ("import argparse\n", "import argparse\nimport no_such_module\n")}


if __name__ == "__main__":
    sys.exit(main())
