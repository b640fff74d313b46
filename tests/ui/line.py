"""A line between browser and server that can be cut, as when a phone sleeps: so that both hear of it, or silently."""

from __future__ import annotations

import contextlib
import socket
import threading
from urllib.parse import urlsplit


class Line:
    """Passes bytes on between a port of its own and an app's address."""

    def __init__(self, to: str) -> None:
        self._to = (urlsplit(to).hostname or "", urlsplit(to).port or 0)
        self._open: set[socket.socket] = set()
        self._websockets: set[socket.socket] = set()
        self._numb: set[socket.socket] = set()
        self._silent: set[socket.socket] = set()
        self._refuses = False
        self._whole = True
        self._door = socket.create_server(("127.0.0.1", 0))
        self.address = f"http://127.0.0.1:{self._door.getsockname()[1]}"
        threading.Thread(target=self._listen, daemon=True).start()

    def cut(self) -> None:
        """End every connection, and refuse new ones."""
        self._whole = False
        for end in list(self._open):
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)

    def mend(self) -> None:
        """Let connections through again."""
        self._whole = True

    def turn_to(self, to: str) -> None:
        """From now on the other end is another app, as after a server's restart."""
        self._to = (urlsplit(to).hostname or "", urlsplit(to).port or 0)

    def numb(self, *, refuses: bool) -> None:
        """Pass nothing on of the websockets there are, and tell nobody; new ones are whole.

        Other connections stay whole: after a sleep there are none, since a server soon ends one that is idle.
        What a browser sends on one later ends it if it `refuses`, as a router does that has forgotten it; otherwise
        nothing answers, as out of the network's reach.
        """
        self._refuses = refuses
        self._numb |= self._websockets

    def silence(self) -> None:
        """Pass on what browsers say on the websockets there are, and none of the answers."""
        self._silent |= self._websockets

    def close(self) -> None:
        """No longer listen."""
        self.cut()
        self._door.close()

    def _listen(self) -> None:
        while True:
            try:
                near, _ = self._door.accept()
            except OSError:
                return
            if not self._whole:
                near.close()
                continue
            try:
                far = socket.create_connection(self._to)
            except OSError:
                near.close()
                continue
            self._open |= {near, far}
            threading.Thread(target=self._pass_on, args=(near, far, True), daemon=True).start()
            threading.Thread(target=self._pass_on, args=(far, near, False), daemon=True).start()

    def _pass_on(self, source: socket.socket, target: socket.socket, asks: bool) -> None:
        with contextlib.suppress(OSError):
            while data := source.recv(65536):
                if asks and b"\r\nUpgrade: websocket\r\n" in data:
                    self._websockets |= {source, target}
                if not asks and source in self._silent:
                    continue
                if source not in self._numb:
                    target.sendall(data)
                elif asks and self._refuses:
                    break
            else:
                if source in self._numb and self._whole:
                    return
        for end in (source, target):
            self._open.discard(end)
            # Without this the other side hears nothing while another thread still waits for its bytes.
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
            end.close()
