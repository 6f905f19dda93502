"""The DHT driver and its child process, with the real decoder on a scripted wire."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from controller.sensors.dht import READ_WITHIN_S, DhtDriver, DhtProcess
from controller.sensors.driver import ErrorKind, SensorError

PATIENCE_S = 100.0
WORKED_EXAMPLE = "028c015fee"  # 65.2 %RH, 35.1 °C: AM2302 product manual


class Watch:
    """A monotonic clock that the test moves on."""

    def __init__(self) -> None:
        self.now_s = 0.0

    def __call__(self) -> float:
        return self.now_s


def scripted(*script: str, **others: Sequence[str]) -> list[str]:
    """A child whose DHT22 on GPIO 4 answers so, and those on `D17` and the like so."""
    scripts = {4: script} | {int(pin[1:]): list(other) for pin, other in others.items()}
    return [sys.executable, "-m", "simulators.wire.child", json.dumps(scripts)]


def driver_of(
    command: list[str],
    *,
    monotonic_s: Callable[[], float] = time.monotonic,
    read_within_s: float = READ_WITHIN_S,
) -> DhtDriver:
    process = DhtProcess(command, read_within_s=read_within_s)
    return DhtDriver("dht22", 4, process=process, monotonic_s=monotonic_s)


def failure(driver: DhtDriver) -> SensorError:
    with pytest.raises(SensorError) as caught:
        driver.read()
    return caught.value


def test_measurements_and_failures_come_through_the_child() -> None:
    driver = driver_of(scripted(WORKED_EXAMPLE, "silence", WORKED_EXAMPLE))
    try:
        assert driver.read()[:2] == (35.1, 65.2)
        assert failure(driver).kind is ErrorKind.NO_ANSWER
        assert driver.read()[:2] == (35.1, 65.2)
    finally:
        driver.close()


def test_what_libraries_print_does_not_get_between_the_replies() -> None:
    driver = driver_of(scripted("chatter", WORKED_EXAMPLE))
    try:
        assert failure(driver).kind is ErrorKind.NO_ANSWER
        assert driver.read()[:2] == (35.1, 65.2)
    finally:
        driver.close()


def test_a_hung_child_is_killed_and_another_started_after_a_pause() -> None:
    watch = Watch()
    driver = driver_of(scripted("hang"), monotonic_s=watch, read_within_s=0.2)
    try:
        assert failure(driver).kind is ErrorKind.HUNG
        assert "asked again in 2 s" in failure(driver).message
        watch.now_s += 2.5
        assert failure(driver).kind is ErrorKind.HUNG  # the new child's script begins anew
        watch.now_s += 2.5
        assert "asked again in 2 s" in failure(driver).message  # of 5 s
    finally:
        driver.close()


def test_a_dead_child_is_reported_with_its_last_words() -> None:
    watch = Watch()
    driver = driver_of(scripted("die"), monotonic_s=watch)
    try:
        error = failure(driver)
    finally:
        driver.close()
    assert error.kind is ErrorKind.CRASHED
    assert "status 3" in error.message
    assert "the pulse helper has gone" in error.message


def test_the_pause_grows_to_a_minute_and_a_good_read_resets_it() -> None:
    watch = Watch()
    driver = driver_of([sys.executable, "-c", ""], monotonic_s=watch)
    pauses = []
    for _ in range(7):
        assert "ended" in failure(driver).message
        pauses.append(driver._not_before_s - watch.now_s)
        watch.now_s = driver._not_before_s
    assert pauses == [2.5, 5.0, 10.0, 20.0, 40.0, 60.0, 60.0]
    driver._process._command = scripted(WORKED_EXAMPLE, "die")
    try:
        assert driver.read()[:2] == (35.1, 65.2)
        assert "ended" in failure(driver).message
        assert driver._not_before_s - watch.now_s == 2.5
    finally:
        driver.close()


def test_a_child_that_says_nonsense_or_cannot_start_is_an_error() -> None:
    nonsense = driver_of([sys.executable, "-c", "print('hello')"])
    assert "did not make sense" in failure(nonsense).message
    absent = driver_of(["/nonexistent/python"])
    assert "cannot be started" in failure(absent).message


def test_a_closed_driver_starts_no_child() -> None:
    driver = driver_of(scripted(WORKED_EXAMPLE))
    driver.read()
    driver.close()
    assert "closed" in failure(driver).message


def test_the_own_child_says_why_this_machine_cannot_read_a_dht() -> None:
    driver = DhtDriver("dht22", 4)
    try:
        error = failure(driver)
    finally:
        driver.close()
    assert error.kind is ErrorKind.UNSUPPORTED


def test_one_child_reads_all_sensors_and_ends_with_the_last() -> None:
    process = DhtProcess(scripted(WORKED_EXAMPLE, "silence", D17=["028c015fee", "028c015fee"]))
    canopy, intake = (DhtDriver("dht22", pin, process=process) for pin in (4, 17))
    try:
        assert canopy.read()[:2] == intake.read()[:2] == (35.1, 65.2)
        child = process._child
        assert child is not None
        # What one of them does not answer is nothing to the other.
        assert failure(canopy).kind is ErrorKind.NO_ANSWER
        assert intake.read()[:2] == (35.1, 65.2)
        canopy.close()
        assert process._child is child and child._process.poll() is None
    finally:
        intake.close()
        canopy.close()
    assert child._process.poll() is not None
    assert "closed" in failure(intake).message


def test_a_sensor_that_hangs_the_child_waits_while_the_others_are_read_on() -> None:
    watch = Watch()
    process = DhtProcess(scripted("hang", D17=[WORKED_EXAMPLE]), read_within_s=0.3)
    canopy, intake = (
        DhtDriver("dht22", pin, process=process, monotonic_s=watch) for pin in (4, 17)
    )
    try:
        assert failure(canopy).kind is ErrorKind.HUNG
        process._read_within_s = PATIENCE_S
        assert intake.read()[:2] == (35.1, 65.2)  # at once, by a fresh child
        assert "asked again in 2 s" in failure(canopy).message
    finally:
        canopy.close()
        intake.close()


def test_a_closed_driver_ends_its_own_read_and_leaves_the_child_to_the_others() -> None:
    process = DhtProcess(scripted("hang", D17=[WORKED_EXAMPLE]))
    canopy, intake = (DhtDriver("dht22", pin, process=process) for pin in (4, 17))
    errors: list[SensorError] = []
    reading = threading.Thread(target=lambda: errors.append(failure(canopy)))
    reading.start()
    pause = threading.Event()
    while process._served is not canopy:
        pause.wait(0.005)
    canopy.close()
    reading.join(20.0)
    try:
        assert [error.kind for error in errors] == [ErrorKind.CRASHED]
        assert intake.read()[:2] == (35.1, 65.2)
    finally:
        intake.close()


def test_a_sensor_that_cannot_be_opened_is_tried_less_and_less_often() -> None:
    watch = Watch()
    process = DhtProcess(scripted(WORKED_EXAMPLE))
    canopy = DhtDriver("dht22", 4, process=process, monotonic_s=watch)
    unknown = DhtDriver("dht22", 99, process=process, monotonic_s=watch)
    try:
        assert "knows no GPIO 99" in failure(unknown).message
        assert "asked again in 2 s" in failure(unknown).message
        assert canopy.read()[:2] == (35.1, 65.2)
        watch.now_s += 2.5
        assert "knows no GPIO 99" in failure(unknown).message
        watch.now_s += 2.5
        assert "asked again in 2 s" in failure(unknown).message  # of 5 s
    finally:
        unknown.close()
        canopy.close()


class Child:
    """The child process by itself, without the driver; a helper's number comes on its stderr."""

    def __init__(self, *script: str) -> None:
        self.process = subprocess.Popen(
            scripted(*script),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            start_new_session=True,
            text=True,
            bufsize=1,
        )
        assert "ready" in self.line("stdout")

    def line(self, pipe: str) -> str:
        # A child that says nothing is ended, which ends the reading.
        limit = threading.Timer(PATIENCE_S, os.killpg, (self.process.pid, signal.SIGKILL))
        limit.start()
        try:
            line = str(getattr(self.process, pipe).readline())
        finally:
            limit.cancel()
        assert line, f"no line on {pipe} within {PATIENCE_S:.0f} s"
        return line

    def ask(self) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write("dht22 4\n")

    def leave_alone(self) -> None:
        """Close the pipe, as the kernel does when the parent is killed, and wait for the end."""
        assert self.process.stdin is not None
        self.process.stdin.close()
        try:
            self.process.wait(timeout=PATIENCE_S)
        finally:
            for pipe in (self.process.stdout, self.process.stderr):
                assert pipe is not None
                pipe.close()


def has_ended(pid: int) -> bool:
    """Whether a process is gone within a minute, or a zombie that nobody has collected."""
    pause = threading.Event()
    for _ in range(12_000):
        try:
            if Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] == "Z":
                return True
        except (FileNotFoundError, ProcessLookupError):
            return True
        pause.wait(0.005)
    return False


def test_the_child_ends_when_the_parent_is_gone() -> None:
    child = Child(WORKED_EXAMPLE)
    child.ask()
    assert "35.1" in child.line("stdout")
    child.leave_alone()
    assert child.process.returncode == -signal.SIGTERM


def test_a_hung_child_takes_its_helper_along_when_the_parent_is_gone() -> None:
    child = Child("hang")
    child.ask()
    helper = int(child.line("stderr"))
    child.leave_alone()
    assert child.process.returncode == -signal.SIGKILL
    assert has_ended(helper)


def test_a_hung_child_is_killed_with_its_helper() -> None:
    driver = driver_of(scripted("silence", "hang"), read_within_s=1.0)
    assert failure(driver).kind is ErrorKind.NO_ANSWER
    child = driver._process._child
    assert child is not None
    assert failure(driver).kind is ErrorKind.HUNG
    helper = int(child._complaint)
    assert child._process.returncode == -signal.SIGKILL
    assert has_ended(helper)


def test_the_daemon_imports_neither_the_library_nor_blinka() -> None:
    code = (
        "import sys, controller.sensors, controller.sensors.array\n"
        "import controller.sensors.open_sensors\n"
        "controller.sensors.open_sensors, controller.sensors.SensorArray\n"
        "bad = [m for m in sys.modules if m.split('.')[0] in\n"
        "       ('adafruit_dht', 'adafruit_blinka', 'board', 'digitalio', 'simulators')]\n"
        "sys.exit(' '.join(bad) or 0)"
    )
    subprocess.run([sys.executable, "-c", code], check=True, timeout=PATIENCE_S)


def test_the_child_stays_small() -> None:
    code = (
        "import sys, controller.sensors.dht_child\n"
        "big = ('pydantic', 'controller.control', 'controller.config')\n"
        "sys.exit(' '.join(m for m in sys.modules if m.startswith(big)) or 0)"
    )
    subprocess.run([sys.executable, "-c", code], check=True, timeout=PATIENCE_S)
