"""Where the app can be reached from other devices, and by whom it is asked there."""

from __future__ import annotations

import hashlib
import ipaddress
import json
import socket
import ssl
from dataclasses import asdict, dataclass
from pathlib import Path

from curejournal.base.errors import CureJournalError
from curejournal.base.messages import msg

# An address kept for documents (RFC 5737): nothing is ever sent to it, the system only says how it would go there.
_ELSEWHERE = ("192.0.2.1", 9)

NOT_AS_MEANT = 78
"""Exit code of a server that would be open to more than was meant (EX_CONFIG of sysexits.h); it has said why."""


class DoorwayUnfit(CureJournalError):
    """The app cannot be reached in this way."""


@dataclass(frozen=True)
class Doorway:
    """Where to listen, and how to be asked.

    Parameters
    ----------
    folder : str
        The journal's folder.
    address, port
        Where the server listens.
    hosts : tuple of str
        The names and addresses that it answers to.
    certificate, key : str
        Files of its own TLS; empty without.
    behind_proxy : bool
        Whether a proxy on this computer speaks TLS for it and tells who asks.
    """

    folder: str
    address: str
    port: int
    hosts: tuple[str, ...]
    certificate: str = ""
    key: str = ""
    behind_proxy: bool = False

    @property
    def secure(self) -> bool:
        """Whether nobody on the way can read along."""
        return bool(self.certificate) or self.behind_proxy

    @property
    def url(self) -> str:
        """What is typed on the phone."""
        if self.behind_proxy:
            return f"https://{self.hosts[0]}/"
        host = f"[{self.hosts[0]}]" if ":" in self.hosts[0] else self.hosts[0]
        return f"http{'s' * self.secure}://{host}:{self.port}/"

    def to_json(self) -> str:
        """As text, to hand on to the server's process."""
        return json.dumps(asdict(self))

    @classmethod
    def from_json(cls, text: str) -> Doorway:
        """From what `to_json` made."""
        fields = json.loads(text)
        return cls(**(fields | {"hosts": tuple(fields["hosts"])}))


def address_here() -> str:
    """The address of this computer in the network it is in.

    Raises
    ------
    DoorwayUnfit
        If it is in none.
    """
    try:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            probe.connect(_ELSEWHERE)
            return str(probe.getsockname()[0])
    except OSError as fault:
        raise DoorwayUnfit(
            msg("This computer is in no network, so no phone can reach it."),
            msg("Connect it, or say at which of its addresses to listen: --address."),
        ) from fault


def names_here(address: str) -> tuple[str, ...]:
    """Under what this computer may be asked for in its network: the address, its name, its name by mDNS (RFC 6762)."""
    name = socket.gethostname().partition(".")[0]
    return (address, name, f"{name}.local")


def fingerprint(certificate: Path, key: Path) -> str:
    """The SHA-256 of a certificate, once it was seen to fit its key.

    Raises
    ------
    DoorwayUnfit
    """
    do = msg("Give the certificate (PEM, its chain after it) and its own key, without a password.")
    try:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(certificate, key, password=lambda: "")
        text = certificate.read_text("ascii")
    except (OSError, ValueError) as fault:
        raise DoorwayUnfit(
            msg(
                "The certificate {certificate} with the key {key} cannot be used: {fault}.",
                certificate=certificate,
                key=key,
                fault=fault,
            ),
            do,
        ) from fault
    first = text[: text.index("-----END CERTIFICATE-----")] + "-----END CERTIFICATE-----\n"
    digest = hashlib.sha256(ssl.PEM_cert_to_DER_cert(first[first.index("-----BEGIN CERTIFICATE-----") :])).digest()
    return digest.hex(":").upper()


def network_of(address: str) -> str:
    """An address as far as one household has it: a version 6 network gives each device as many as it likes."""
    try:
        parsed = ipaddress.ip_address(address)
    except ValueError:
        return address
    if isinstance(parsed, ipaddress.IPv6Address):
        return str(parsed.ipv4_mapped or ipaddress.ip_network((parsed, 64), strict=False))
    return address
