"""Where a journal's folder lies: in a synchronised folder, or on a network's disk, its database is at risk."""

from __future__ import annotations

import os
import re
import sys
from pathlib import Path

from curejournal.base.messages import msg
from curejournal.journal.database import DATABASE

# Folders by which programs that synchronise are known, and files that they leave at the root of what they synchronise.
# From their own manuals, as remembered.
_SYNCHRONISED = re.compile(
    r"onedrive.*|dropbox.*|google ?drive.*|my drive|icloud ?drive|mobile documents|com~apple~clouddocs|nextcloud"
    r"|owncloud|box( sync)?|pcloud ?drive|mega(sync)?|syncthing|seafile|cloudstorage|creative cloud files",
    re.IGNORECASE,
)
_MARKS = (
    ".dropbox",
    ".dropbox.cache",
    ".stfolder",
    ".stversions",
    ".owncloudsync.log",
    ".nextcloudsync.log",
    ".seafile-data",
)
# What such a program names a file that two computers changed.
_CONFLICT = re.compile(r".*(conflict|konflikt|conflicto|conflit).*", re.IGNORECASE)
# File systems on another computer (Linux: man 5 proc, mountinfo), where SQLite's locks and shared memory do not hold
# (sqlite.org/wal.html, "Overview").
_NETWORK = {
    "nfs",
    "nfs4",
    "cifs",
    "smb3",
    "smbfs",
    "afs",
    "9p",
    "ncpfs",
    "fuse.sshfs",
    "fuse.rclone",
    "fuse.davfs",
    "davfs",
}


def risks_of(folder: Path) -> tuple[str, ...]:
    """What speaks against a place for a journal, in sentences; empty if nothing is known to."""
    found = []
    if name := _synchronised(folder):
        found.append(
            msg(
                "The journal lies in “{name}”, which a program seems to synchronise: it may copy the database in the "
                "midst of a write, or put an older one back. Move the journal to a folder of this computer alone, "
                "and let "
                "backups be synchronised.",
                name=name,
            )
        )
    if _on_a_network(folder):
        found.append(
            msg(
                "The journal lies on a network's disk, where two programs may write at the same moment and damage "
                "it. Move "
                "it to this computer's own disk, or to a PostgreSQL server."
            )
        )
    if doubles := _doubles(folder):
        found.append(
            msg(
                "Beside the journal's database lies “{doubles}”: two computers seem to have changed it. Entries may be "
                "in one and not in the other; look at both before you go on.",
                doubles=doubles[0],
            )
        )
    return tuple(found)


def _synchronised(folder: Path) -> str:
    for step in (folder, *folder.parents):
        if _SYNCHRONISED.fullmatch(step.name) or any((step / mark).exists() for mark in _MARKS):
            return str(step)
    return ""


def _doubles(folder: Path) -> list[str]:
    stem = Path(DATABASE).stem
    try:
        names = sorted(
            path.name for path in folder.iterdir() if path.name.startswith(stem) and path.suffix == ".sqlite"
        )
    except OSError:
        return []
    return [name for name in names if _CONFLICT.fullmatch(name) or re.fullmatch(rf"{stem}[ -]\(?\d+\)?\.sqlite", name)]


def _on_a_network(folder: Path) -> bool:
    if os.name == "nt":
        return folder.drive.startswith("\\\\")
    if sys.platform != "linux":
        return False
    try:
        return kind_of_disk(folder, Path("/proc/self/mountinfo").read_text("utf-8", "replace")) in _NETWORK
    except OSError:
        return False


def kind_of_disk(folder: Path, mounts: str) -> str:
    """The kind of file system that a folder is on, by Linux's list of mounts."""
    best, kind = "", ""
    for line in mounts.splitlines():
        before, _, after = line.partition(" - ")
        place = before.split()[4].replace("\\040", " ") if len(before.split()) > 4 else ""
        inside = str(folder) == place or str(folder).startswith(place.rstrip("/") + "/")
        if place and inside and len(place) >= len(best):
            best, kind = place, after.split()[0]
    return kind
