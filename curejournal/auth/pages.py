"""The pages before the app: sign in, sign out. Plain HTML without a script, in the app's look, light and dark."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence
from html import escape

from curejournal.base.messages import msg
from curejournal.documents import style

_STYLE = f"""{style.variables()}
:root {{ color-scheme: light dark; }}
* {{ box-sizing: border-box; }}
body {{ margin: 0; background: var(--paper); color: var(--ink); font: 1rem/1.5 var(--sans); }}
main {{ max-width: 26rem; margin: 0 auto; padding: var(--s9) var(--s4); }}
h1 {{ font: 500 var(--display)/1.1 var(--serif); }}
label {{ display: block; margin: var(--s4) 0 var(--s1); font-weight: 600; }}
input, button {{ width: 100%; min-height: 3rem; font: inherit; border-radius: 8px; }}
input {{ padding: var(--s2) var(--s3); color: var(--ink); background: var(--card); border: 1px solid var(--edge); }}
button {{ margin-top: var(--s6); font-weight: 600; color: var(--paper); background: var(--ink); border: 0; }}
a {{ color: var(--ink); }}
:focus-visible {{ outline: 3px solid var(--ink); outline-offset: 2px; }}
[role=alert] {{ padding: var(--s3); color: var(--hold-ink); background: var(--hold); border-radius: 8px; }}
"""

_HASH = base64.b64encode(hashlib.sha256(_STYLE.encode()).digest()).decode()

POLICY = f"default-src 'none'; style-src 'sha256-{_HASH}'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
"""What a browser may do with these pages: show them, and send their form back."""


_CODE = """<label for="code">Code from your authenticator app, or from paper, if you use one</label>
<input id="code" name="code" autocomplete="one-time-code" autocapitalize="none" spellcheck="false" maxlength="40">
"""


def sign_in(to: str, *, wrong: str = "", readable: bool = False, with_code: bool = False) -> str:
    """The page that asks for name and passphrase.

    Parameters
    ----------
    to : str
        The path to go on to.
    wrong : str
        What was wrong with the last try.
    readable : bool
        Whether others on the network can read what is sent.
    with_code : bool
        Whether there is anybody who needs a code beside the passphrase.
    """
    code = _CODE if with_code else ""
    alert = f'<p role="alert">{escape(wrong)}</p>' if wrong else ""
    told = "<p>Others on this network can read what is sent here: nothing hides it.</p>" if readable else ""
    return _page(
        msg("Sign in"),
        f"""{alert}<form method="post" action="/sign-in">
<input type="hidden" name="to" value="{escape(to)}">
<label for="name">Name</label>
<input id="name" name="name" autocomplete="username" autocapitalize="words" spellcheck="false" required maxlength="80">
<label for="passphrase">Passphrase</label>
<input id="passphrase" name="passphrase" type="password" autocomplete="current-password" required maxlength="256">
{code}<button>Sign in</button></form>{told}""",
    )


def sign_out(name: str, sessions: Sequence[tuple[str, str]]) -> str:
    """The page that asks whether to sign out, here or everywhere.

    Parameters
    ----------
    name : str
        Who is signed in.
    sessions : sequence of (str, str)
        When each of the person's sessions was last used, and from which address it was begun.
    """
    items = "".join(f"<li>Last used {escape(used)}, from {escape(address)}</li>" for used, address in sessions)
    return _page(
        msg("Sign out"),
        f"""<p>{escape(name)} is signed in on this device.</p>
<form method="post" action="/sign-out"><button>Sign out</button></form>
<h2>Where {escape(name)} is signed in</h2><ul>{items}</ul>
<form method="post" action="/sign-out"><input type="hidden" name="everywhere" value="yes">
<button>Sign out everywhere</button></form><p><a href="/">Back to the journal</a></p>""",
    )


def refusal(words: str) -> str:
    """A page that says why there is nothing to see."""
    return _page(msg("Not here"), f"<p>{escape(words)}</p>")


def _page(title: str, body: str) -> str:
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{title} · Cure journal</title><style>{_STYLE}</style></head>"
        f"<body><main><h1>{title}</h1>{body}</main></body></html>"
    )
