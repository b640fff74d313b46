"""The pages before the app: sign in, sign out. Plain HTML without a script, in the app's colours, light and dark."""

from __future__ import annotations

import base64
import hashlib
from html import escape

_STYLE = """
:root { color-scheme: light dark; --paper: #f7f2e8; --ink: #2a2520; --act: #2f5266; --on-act: #ffffff;
  --line: #6f675b; --bad: #5a1d10; --bad-paper: #f2dccf; }
@media (prefers-color-scheme: dark) { :root { --paper: #1c1916; --ink: #ece5d8; --act: #a9c9d8; --on-act: #1c1916;
  --line: #9a9184; --bad: #f2dccf; --bad-paper: #4a241a; } }
* { box-sizing: border-box; }
body { margin: 0; background: var(--paper); color: var(--ink); line-height: 1.5;
  font: 1.0625rem system-ui, -apple-system, 'Segoe UI', 'Noto Sans', 'Liberation Sans', sans-serif; }
main { max-width: 26rem; margin: 0 auto; padding: 2rem 1rem; }
h1 { font: 600 1.7rem/1.25 Charter, 'Iowan Old Style', Georgia, 'Noto Serif', 'DejaVu Serif', serif; }
label { display: block; margin: 1rem 0 .25rem; font-weight: 600; }
input { width: 100%; min-height: 3rem; padding: .5rem .75rem; font: inherit; color: var(--ink);
  background: var(--paper); border: 1px solid var(--line); border-radius: .4rem; }
button { width: 100%; min-height: 3rem; margin-top: 1.5rem; font: inherit; font-weight: 600; color: var(--on-act);
  background: var(--act); border: 0; border-radius: .4rem; }
a { color: var(--act); }
:focus-visible { outline: 3px solid var(--act); outline-offset: 2px; }
[role=alert] { padding: .75rem; color: var(--bad); background: var(--bad-paper); border-radius: .4rem; }
"""

_HASH = base64.b64encode(hashlib.sha256(_STYLE.encode()).digest()).decode()

POLICY = f"default-src 'none'; style-src 'sha256-{_HASH}'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
"""What a browser may do with these pages: show them, and send their form back."""


def sign_in(to: str, *, wrong: str = "", readable: bool = False) -> str:
    """The page that asks for name and passphrase.

    Parameters
    ----------
    to : str
        The path to go on to.
    wrong : str
        What was wrong with the last try.
    readable : bool
        Whether others on the network can read what is sent.
    """
    alert = f'<p role="alert">{escape(wrong)}</p>' if wrong else ""
    told = "<p>Others on this network can read what is sent here: nothing hides it.</p>" if readable else ""
    return _page(
        "Sign in",
        f"""{alert}<form method="post" action="/sign-in">
<input type="hidden" name="to" value="{escape(to)}">
<label for="name">Name</label>
<input id="name" name="name" autocomplete="username" autocapitalize="words" spellcheck="false" required maxlength="80">
<label for="passphrase">Passphrase</label>
<input id="passphrase" name="passphrase" type="password" autocomplete="current-password" required maxlength="256">
<button>Sign in</button></form>{told}""",
    )


def sign_out(name: str) -> str:
    """The page that asks whether to sign out."""
    return _page(
        "Sign out",
        f"""<p>{escape(name)} is signed in on this device.</p>
<form method="post" action="/sign-out"><button>Sign out</button></form><p><a href="/">Back to the journal</a></p>""",
    )


def refusal(words: str) -> str:
    """A page that says why there is nothing to see."""
    return _page("Not here", f"<p>{escape(words)}</p>")


def _page(title: str, body: str) -> str:
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{title} · Cure journal</title><style>{_STYLE}</style></head>"
        f"<body><main><h1>{title}</h1>{body}</main></body></html>"
    )
