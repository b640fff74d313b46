"""The app's server for a network: the gate around Streamlit. `curejournal serve --lan` runs it with a doorway."""

from __future__ import annotations

import os
import sys
from pathlib import Path

from starlette.middleware import Middleware
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg

from curejournal.auth.addresses import Doorway
from curejournal.auth.gate import AppTalk, Gate
from curejournal.auth.people import People
from curejournal.auth.sessions import Keeper
from curejournal.ui import server
from curejournal.ui.state.signed_in import BEHIND_GATE


def _opened(data: bytes) -> str | None:
    message = ForwardMsg()
    message.ParseFromString(data)
    return message.new_session.initialize.session_id or None if message.HasField("new_session") else None


def _away() -> bytes:
    message = ForwardMsg()
    message.auth_redirect.url = "/sign-in"
    return bytes(message.SerializeToString())


def serve(doorway: Doorway) -> None:
    """Serve until stopped."""
    os.environ[BEHIND_GATE] = "yes"
    os.environ["CUREJOURNAL_JOURNAL"] = doorway.folder
    # Only a proxy on this computer is believed who asks through it.
    os.environ["FORWARDED_ALLOW_IPS"] = "127.0.0.1" if doorway.behind_proxy else ""
    folder = Path(doorway.folder)
    keeper = Keeper(People(folder), folder=folder)
    gate = Middleware(Gate, keeper=keeper, secure=doorway.secure, talk=AppTalk(_opened, _away()))
    meant: dict[str, object] = {
        "server.address": doorway.address,
        "server.port": doorway.port,
        "server.allowedHosts": list(doorway.hosts),
    }
    if doorway.certificate:
        meant |= {"server.sslCertFile": doorway.certificate, "server.sslKeyFile": doorway.key}
    server.run(meant, gate, behind_proxy=doorway.behind_proxy)


if __name__ == "__main__":
    serve(Doorway.from_json(sys.argv[1]))
