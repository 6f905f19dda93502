"""Where a record does not outlive a boot; lines as proc_pid_mountinfo(5) describes them."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.record.volatile import parse_mounts, record_volatile, why_volatile

CARD = "22 1 179:2 / / rw,noatime shared:1 - ext4 /dev/mmcblk0p2 rw\n"
TMP = "30 22 0:26 / /tmp rw,nosuid - tmpfs tmpfs rw,size=204800k\n"
# A root made read-only by an initramfs that leaves its layers in sight, as overlayroot does, and
# as one that doesn't (the layouts from memory).
IN_SIGHT = (
    "20 25 179:2 / /media/root-ro ro - ext4 /dev/mmcblk0p2 ro\n"
    "21 25 0:20 / /media/root-rw rw - tmpfs tmpfs-root rw\n"
    "25 1 0:21 / / rw - overlay overlayroot rw,lowerdir=/media/root-ro,"
    "upperdir=/media/root-rw/overlay,workdir=/media/root-rw/overlay-workdir\n"
)
OUT_OF_SIGHT = "25 1 0:21 / / rw - overlay overlay rw,lowerdir=/lower,upperdir=/upper/data\n"
DATA = "40 25 179:3 / /data rw - ext4 /dev/mmcblk0p3 rw\n"
USB = "41 25 8:1 / /media/my\\040stick rw - ext4 /dev/sda1 rw\n"
# The unit's own directory, mounted again by systemd: of the same overlay.
STATE = (
    "50 25 0:21 /var/lib/lungwort /var/lib/lungwort rw - overlay overlayroot rw,"
    "lowerdir=/media/root-ro,upperdir=/media/root-rw/overlay\n"
)
RECORD = Path("/var/lib/lungwort/chillies.sqlite3")


@pytest.mark.parametrize(
    ("table", "path", "expected"),
    [
        (CARD + TMP, RECORD, ""),
        (CARD + TMP, Path("/tmp/chillies.sqlite3"), "/tmp (tmpfs), which is memory"),
        (CARD + TMP, Path("/tmpfiles/chillies.sqlite3"), ""),
        (IN_SIGHT, RECORD, "/, an overlay whose upper layer is memory (tmpfs)"),
        (IN_SIGHT + STATE, RECORD, "/var/lib/lungwort, an overlay whose upper layer is memory"),
        (OUT_OF_SIGHT, RECORD, "/, an overlay: what is written there may be memory"),
        (IN_SIGHT + DATA, Path("/data/chillies.sqlite3"), ""),
        (IN_SIGHT + USB, Path("/media/my stick/chillies.sqlite3"), ""),
        (IN_SIGHT.replace("tmpfs tmpfs-root", "ext4 /dev/sda1"), RECORD, ""),
        ("25 1 0:21 / / ro - overlay overlay ro,lowerdir=/a:/b\n", RECORD, "can't be written to"),
        (CARD + DATA + TMP.replace("/tmp", "/data"), Path("/data/a.sqlite3"), "/data (tmpfs)"),
        ("nonsense\n1 2 3 - x\n", RECORD, ""),
    ],
)
def test_a_record_in_memory_is_told_from_one_on_a_disk(
    table: str, path: Path, expected: str
) -> None:
    why = why_volatile(path, parse_mounts(table))
    assert expected in why
    assert bool(why) is bool(expected)


def test_links_are_followed_and_a_system_without_the_table_says_nothing(tmp_path: Path) -> None:
    table = tmp_path / "mountinfo"
    disk, memory = tmp_path / "disk", tmp_path / "memory"
    memory.mkdir()
    disk.symlink_to(memory)
    table.write_text(CARD + TMP.replace("/tmp", str(memory.resolve())))
    assert "which is memory" in record_volatile(disk / "chillies.sqlite3", table)
    assert record_volatile(disk / "chillies.sqlite3", tmp_path / "none") == ""
