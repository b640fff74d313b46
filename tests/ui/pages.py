"""A page drawn without a browser, and what is found and done on it."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

from streamlit.testing.v1 import AppTest

from curejournal.journal.store import Journal
from curejournal.ui.state import background


def app(slug: str, **query: str) -> AppTest:
    def draw(first: str) -> None:
        from curejournal.ui.frame import run

        run(first)

    at = AppTest.from_function(draw, args=(slug,), default_timeout=60)
    for name, value in query.items():
        at.query_params[name] = value
    return at.run()


def text_of(at: AppTest) -> str:
    kinds = (at.markdown, at.caption, at.error, at.warning, at.info, at.success, at.title, at.subheader)
    return "\n".join([str(e.value) for kind in kinds for e in kind] + [str(e.proto.body) for e in at.get("html")])


def only(elements: Any, label: str) -> Any:
    """The one widget with a label."""
    found = [element for element in elements if element.label == label]
    assert len(found) == 1, [element.label for element in elements]
    return found[0]


def entries(folder: Path, code: str) -> int:
    with Journal.open(folder) as journal:
        return len(journal.batch(code).entries)


def section(code: str, name: str) -> AppTest:
    at = app("batch", batch=code)
    return at.button_group(key=f"section-{code}").set_value(name).run()


def writing(code: str) -> AppTest:
    return section(code, "Log")


def ended(at: AppTest, folder: Path, name: str) -> AppTest:
    """The page once its long work is over."""
    for _ in range(400):
        if not background.is_going(str(folder), name):
            return at.run()
        time.sleep(0.05)
    raise AssertionError(f"{name} did not end")


def form(at: AppTest, code: str, name: str) -> AppTest:
    """The form on the log that enters something."""
    first = at.button_group(key=f"form-{code}")
    if name in first.options:
        return first.set_value(name).run()
    first.set_value("something else").run()
    return at.button_group(key=f"more-{code}").set_value(name).run()
