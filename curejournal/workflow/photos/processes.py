"""Processes of ours that end with the one that began them."""

from __future__ import annotations

import multiprocessing
from multiprocessing.connection import wait
from os import _exit
from threading import Thread

from curejournal.base.messages import msg


def end_with_parent() -> None:
    """Let this worker process end as soon as the one that began it has, however that ended: killed, say."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        sentinel = parent.sentinel

        def watch() -> None:
            wait([sentinel])
            _exit(1)

        Thread(target=watch, name=msg("ends with its parent"), daemon=True).start()
