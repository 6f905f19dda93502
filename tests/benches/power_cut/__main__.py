"""Power cuts in a real guest; ../power_cut.sh is the command and its head the manual."""

from __future__ import annotations

import argparse
import datetime as dt
import json
import os
import random
import signal
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import image
from cuts import Life
from disk import Disk, Fate
from machine import Machine, MachineError
from report import figures_of, table
from unit_checks import Checks

SHORT_CUTS = 2


def main() -> int:
    """Run the bench."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--cuts", type=int)
    parser.add_argument("--suite", choices=("bookworm", "trixie"), default=image.SUITE)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=120.0)
    fates = parser.add_mutually_exclusive_group()
    fates.add_argument("--volatile", action="store_true")
    fates.add_argument("--kept", action="store_true")
    parser.add_argument("--json", type=Path)
    parser.add_argument("--log", type=Path)
    args = parser.parse_args()
    cuts = args.cuts or (SHORT_CUTS if args.short else 20)
    fate = Fate.LOST if args.volatile else Fate.KEPT if args.kept else None
    cache = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "lungwort-bench"
    began_s = time.monotonic()
    # Ended from outside: the guest goes off and the temporary files go all the same.
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))

    def say(text: str) -> None:
        print(f"[{time.monotonic() - began_s:5.0f} s] {text}", flush=True)

    with tempfile.TemporaryDirectory(prefix="lungwort-power-") as temporary:
        work = Path(temporary)
        try:
            built = image.build(cache, work, say, args.suite, _install(args.suite))
            disk = Disk(built.disk)
            checks = install_and_check(built, disk, work, say, short=args.short)
            life = Life(built, disk, work, random.Random(args.seed), say)
            try:
                life.live(cuts, fate, began_s + 60.0 * args.minutes)
                if not args.short:
                    life.control()
            except MachineError as error:
                if not life.cuts:
                    raise
                life.broke = f"after {len(life.cuts)} cuts: {error}"
        except (image.BuildError, MachineError) as error:
            print(f"power cuts: FAILED: {error}", file=sys.stderr)
            return 1
        if args.log is not None:
            args.log.write_text("".join(f"{said.text}\n" for said in life.said), "utf-8")
    figures = figures_of(life, checks)
    figures |= {
        "suite": args.suite,
        "seed": args.seed,
        "took_s": round(time.monotonic() - began_s),
        "run_on": dt.datetime.now(dt.UTC).date().isoformat(),
    }
    print(table(figures))
    if args.json is not None:
        args.json.write_text(json.dumps(figures, indent=1) + "\n", "utf-8")
    for problem in figures["wrong"]:
        print(f"power cuts: FAILED: {problem}", file=sys.stderr)
    print("power cuts: " + ("FAILED" if figures["wrong"] else "passed"))
    return 1 if figures["wrong"] else 0


def _install(suite: str) -> Callable[[Path, Path], None]:
    """How lungwort is installed: by hand, or the package where there is one."""
    if suite == image.SUITE:
        return image.install_by_hand
    # Of the other bench, whose package it is.
    sys.path += [str(Path(__file__).parents[1] / "fresh_install"), str(Path(__file__).parents[1])]
    from guest import installed_packages

    return installed_packages


def install_and_check(
    built: image.Image, disk: Disk, work: Path, say: Callable[[str], None], *, short: bool
) -> Checks:
    """First boot: set the service up as INSTALL.md says, check it, shut down."""
    machine = Machine(built, disk, work)
    try:
        machine.wait_awake()
        say(f"the guest is up, {time.monotonic() - machine.on_s:.0f} s after power-on")
        machine.tell("bash /root/set-up-service.sh")
        say("the service is set up and enabled")
        checks = Checks(machine)
        checks.run(short=short)
        machine.power_off()
        say("unit checked")
    finally:
        if machine.is_on():
            machine.cut(Fate.KEPT, random.Random(0))
    return checks


if __name__ == "__main__":
    sys.exit(main())
