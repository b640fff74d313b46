"""A journal in a synchronised folder or on a network's disk is warned of."""

from __future__ import annotations

from pathlib import Path

import pytest

from curejournal.journal.store import Journal
from curejournal.journal.surroundings import kind_of_disk, risks_of

MOUNTS = """
21 1 8:1 / / rw,relatime shared:1 - ext4 /dev/sda1 rw
33 21 0:44 / /mnt/nas rw shared:2 - nfs4 nas:/soap rw
34 21 0:45 / /mnt/the\\040shop rw shared:3 - cifs //shop/share rw
"""


@pytest.mark.parametrize(
    ("place", "kind"),
    [
        ("/home/ana", "ext4"),
        ("/mnt/nas/soap", "nfs4"),
        ("/mnt/nasty", "ext4"),
        ("/mnt/the shop/soap", "cifs"),
        ("/", "ext4"),
    ],
)
def test_the_kind_of_disk_is_that_of_the_nearest_mount(place: str, kind: str) -> None:
    assert kind_of_disk(Path(place), MOUNTS) == kind


@pytest.mark.parametrize("name", ["OneDrive", "OneDrive - Soap shed", "Dropbox", "Nextcloud", "CloudStorage"])
def test_a_folder_known_to_be_synchronised_is_warned_of(name: str, tmp_path: Path) -> None:
    (risk,) = risks_of(tmp_path / name / "soap" / "journal")
    assert "synchronise" in risk and name in risk
    assert risks_of(tmp_path / f"not {name}" / "journal") == ()


def test_a_mark_left_by_a_program_that_synchronises_is_known(tmp_path: Path) -> None:
    (tmp_path / ".stfolder").mkdir()
    with Journal.open(tmp_path / "journal") as journal:
        (problem,) = journal.check()
        assert "synchronise" in problem.what and not problem.serious


def test_two_databases_side_by_side_are_named(tmp_path: Path) -> None:
    for name in (
        "journal.sqlite",
        "journal-before-0002-20260501T120000Z.sqlite",
        "journal (Ana's conflicted copy).sqlite",
    ):
        (tmp_path / name).touch()
    (risk,) = risks_of(tmp_path)
    assert "conflicted copy" in risk
