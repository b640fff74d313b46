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


_READABLE = "<p>Others on this network can read what is sent here: nothing hides it.</p>"
_BACK = '<p><a href="/">Back to the journal</a></p>'
_CODE_TITLE = msg("A code at sign-in")
_IS_ON = """{name} is asked for a code from an authenticator app at each sign-in. For another phone, turn this off, and
on again with that phone. Without phone and paper it is turned off on the computer that serves the journal."""
_IS_OFF = """At each sign-in {name} can be asked for a code from an authenticator app on the phone, beside the
passphrase. Somebody who has learnt the passphrase then cannot sign in without the phone."""


def _alert(wrong: str) -> str:
    return f'<p role="alert">{escape(wrong)}</p>' if wrong else ""


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
    return _page(
        msg("Sign in"),
        f"""{_alert(wrong)}<form method="post" action="/sign-in">
<input type="hidden" name="to" value="{escape(to)}">
<label for="name">Name</label>
<input id="name" name="name" autocomplete="username" autocapitalize="words" spellcheck="false" required maxlength="80">
<label for="passphrase">Passphrase</label>
<input id="passphrase" name="passphrase" type="password" autocomplete="current-password" required maxlength="256">
{code}<button>Sign in</button></form>{_READABLE if readable else ""}""",
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
<button>Sign out everywhere</button></form>{_BACK}""",
    )


def second_factor(name: str, *, is_on: bool, wrong: str = "", readable: bool = False) -> str:
    """The page on which a person asks for a second factor, or for none any longer.

    Parameters
    ----------
    name : str
        Who is signed in.
    is_on : bool
        Whether a code is asked for already.
    wrong, readable
        As on the page of the sign-in.
    """
    told, code, press = (_IS_ON, _CODE, "Ask for no code any longer") if is_on else (_IS_OFF, "", "Show what to scan")
    return _page(
        _CODE_TITLE,
        f"""{_alert(wrong)}<p>{told.format(name=escape(name))}</p><form method="post" action="/second-factor">
<label for="passphrase">Your passphrase, once more</label>
<input id="passphrase" name="passphrase" type="password" autocomplete="current-password" required maxlength="256">
{code}<button>{press}</button></form>{_READABLE if readable else ""}{_BACK}""",
    )


def second_factor_to_scan(drawn: str, secret: str, recovery: Sequence[str], *, wrong: str = "") -> str:
    """The page with what to scan, the codes for paper, and the place for the first code.

    Parameters
    ----------
    drawn : str
        The QR code as SVG.
    secret : str
        What it says, to be typed.
    recovery : sequence of str
        The codes for paper.
    wrong : str
        What was wrong with the last try.
    """
    items = "".join(f"<li><code>{escape(code)}</code></li>" for code in recovery)
    return _page(
        _CODE_TITLE,
        f"""{_alert(wrong)}<ol><li><p>Scan this with an authenticator app on your phone, or type the key into it.</p>
<p>{drawn}</p><p><code>{escape(" ".join(secret[at : at + 4] for at in range(0, len(secret), 4)))}</code></p></li>
<li><p>Write these codes down on paper. They are shown only here, and each lets you in once if the phone is lost.</p>
<ul>{items}</ul></li>
<li><form method="post" action="/second-factor"><input type="hidden" name="step" value="confirm">
<label for="code">Type the code that the app shows now</label>
<input id="code" name="code" autocomplete="one-time-code" inputmode="numeric" required maxlength="10">
<button>Ask for a code from now on</button></form></li></ol>
<p>After that every device on which you are signed in has to sign in again, this one too.</p>{_BACK}""",
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
