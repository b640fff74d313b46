"""How the app speaks: units, dates, language."""

from __future__ import annotations

from curejournal.ui import parts, telling
from curejournal.ui.page import Desk, Page, attempt
from curejournal.ui.telling import st


def render(desk: Desk) -> None:
    """Draw the page."""
    parts.say(
        "For everyone who uses this journal. What is kept stays in grams and °C, so nothing changes but the words."
    )
    now, languages = telling.kept_habits(desk.journal), telling.languages()
    with st.form("habits"):
        units = st.radio("Weights and temperatures", telling.UNITS, telling.UNITS.index(now.units), key="habit-units")
        dates = st.radio(
            "Dates look like",
            telling.DATES,
            telling.DATES.index(now.dates),
            # With other spaces these are no dates of ours: each is shown as it is.
            format_func=lambda date: date.replace(" ", "\u00a0"),
            key="habit-dates",
        )
        language = now.language
        if len(languages) > 1:
            names = {code: telling.language_name(code) for code in languages}
            language = st.selectbox("Language", languages, languages.index(now.language), format_func=names.__getitem__)
        sent = st.form_submit_button("Keep these", type="primary", disabled=not parts.may_enter(desk))
    if sent:
        attempt(lambda: telling.keep_habits(desk.journal, telling.Habits(units, dates, language)))
        st.rerun()
    parts.say(
        "Papers that leave the journal (records, labels, fact sheets) and the command line stay in grams.", "soft"
    )


PAGE = Page("Units and dates", "units", 55, render, ":material/straighten:")
