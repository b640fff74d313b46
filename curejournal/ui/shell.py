"""The page in which Streamlit draws the app, told where its server is, and what a browser may do with it."""

from __future__ import annotations

import base64
import hashlib
import re
from functools import cache
from pathlib import Path

from starlette.responses import HTMLResponse
from starlette.routing import BaseRoute, Match
from starlette.types import Receive, Scope, Send
from streamlit.file_util import get_static_dir

# Not told, Streamlit's script asks beside each page too, where there is nothing: two 404s for each that is opened.
_SERVER = "<script>window.__streamlit = { BACKEND_BASE_URL: window.location.origin }</script>"


@cache
def page() -> str:
    """Give Streamlit's own page, told where its server is, under the app's name."""
    found = Path(get_static_dir(), "index.html").read_text("utf-8")
    found = found.replace("<head>", f"<head>{_SERVER}", 1).replace("<title>Streamlit<", "<title>Cure journal<", 1)
    # Out with the way in for other programs, which is closed, and with a typeface that the app has no use for.
    return re.sub(r'<link\s+rel="(service-desc|preload)"[^>]*>', "", found)


@cache
def content_policy() -> str:
    """Give the content security policy of the app's pages: what they show and run comes from here alone.

    The page's own scripts are named by their hashes; the journal's components are handed over as blobs; styles are
    written into the page.
    """
    hashes = [hashlib.sha256(script.encode()).digest() for script in re.findall("<script>(.*?)</script>", page(), re.S)]
    inline = "".join(f" 'sha256-{base64.b64encode(digest).decode()}'" for digest in hashes)
    return (
        f"default-src 'self'; script-src 'self' blob:{inline}; style-src 'self' 'unsafe-inline'; "
        "img-src 'self' data: blob:; font-src 'self' data:; worker-src 'self' blob:; "
        "object-src 'none'; frame-src 'self'; frame-ancestors 'none'; base-uri 'self'; form-action 'self'"
    )


class Shell(BaseRoute):
    """Answers with that page wherever one of the app's may be: at an address of one word, or of none."""

    def matches(self, scope: Scope) -> tuple[Match, Scope]:
        """Whether this is the address of a page."""
        asked = scope["type"] == "http" and scope["method"] in {"GET", "HEAD"}
        return (Match.FULL if asked and re.fullmatch(r"/[a-z0-9-]*", scope["path"]) else Match.NONE), {}

    async def handle(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer."""
        await HTMLResponse(page(), headers={"cache-control": "no-cache"})(scope, receive, send)
