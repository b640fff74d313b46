"""A verdict's evidence: each check unfolds; a release, hold or withdrawal is signed here."""

from __future__ import annotations

import streamlit as st

from curejournal import workflow
from curejournal.base.messages import msg
from curejournal.batch.descriptions import describe
from curejournal.batch.records import Act, AlkaliTest, Batch, Decision
from curejournal.documents import formatting
from curejournal.documents.style import state_of
from curejournal.judging.findings import Finding
from curejournal.judging.judgement import LOCAL_CODES, Judgement
from curejournal.ui.components import common
from curejournal.ui.forms import entry, evidence
from curejournal.ui.i18n import localised, tr
from curejournal.ui.page import Desk, attempt, plain
from curejournal.ui.state import cache

ACTS: dict[Act, str] = {
    "release": msg("Release for sale"),
    "hold": msg("Hold"),
    "withdraw": msg("Withdraw an earlier release"),
    "lift hold": msg("Lift the hold (no release yet)"),
    "keep on sale": msg("It stays on sale (answers the question above)"),
}
EXAMPLES: dict[Act, str] = {
    "release": msg("I looked at twelve bars and at all checks; they may be sold from today."),
    "hold": msg("Orange spots on four bars. Nothing is sold before the next look on Monday."),
    "withdraw": msg("Three bars tested high. The release no longer counts; the shop was called."),
    "lift hold": msg("The spots were dust; wiped off, the bars are clean. The hold is lifted."),
    "keep on sale": msg("The meter was not calibrated. Calibrated, it read 9.8 on three bars."),
}
"""What a statement may say. Ours."""
OUTCOMES = {"good": "✓ good", "unclear": "? unclear", "high": "‖ high"}


def show(desk: Desk, batch: Batch, judgement: Judgement) -> None:
    """All checks, then the signature."""
    common.say(
        msg("What each check says, and why. Open one for its figures, its rule and where the rule comes from."), "soft"
    )
    for finding in judgement.findings:
        _check(finding)
    earliest, middle, latest = judgement.from_about
    if middle is not None and middle > judgement.on:
        span = formatting.span((earliest, latest))
        doubt = "" if span == formatting.day(middle) else msg(" (95 %: {span})", span=span)
        # With something still needed, no date makes it ready by itself.
        when, needed = formatting.day(middle) + doubt, any(finding.needs for finding in judgement.findings)
        common.say(msg("Not before about {when}.", when=when) if needed else msg("Ready from about {when}.", when=when))
    common.say(
        msg(
            "Judged {on} by rules {rules_version}.",
            on=formatting.moment(judgement.on),
            rules_version=judgement.rules_version,
        ),
        "soft",
    )
    _sign(desk, batch, judgement)


def _check(finding: Finding) -> None:
    sign = state_of(str(finding.verdict)).sign
    with st.expander(tr(f"{sign} **{finding.check}**: {finding.verdict}. {plain(common.sentence(finding.words))}")):
        common.values(
            {name: formatting.value_with_unit(value, unit) for name, (value, unit) in finding.figures.items()}
        )
        until = (
            ""
            if finding.until is None
            else msg(
                "{until} (95 %: {until_interval})",
                until=formatting.day(finding.until),
                until_interval=formatting.span(finding.until_interval),
            )
        )
        common.values(
            {
                msg("Rule"): finding.rule,
                msg("Where from"): finding.source,
                msg("May be met from"): until,
                msg("What to do"): finding.advice,
            }
        )


def alkali_tests(desk: Desk, batch: Batch, judgement: Judgement) -> None:
    """Each test in a line, the latest first; then the strips that were photographed."""
    tests = judgement.alkali.tests
    with st.expander(tr(msg("How a titration is done"))):
        common.say(evidence.TITRATION)
    if not tests:
        common.say(msg("No alkali test yet. A meter on a 1 % solution, or better a titration, tells most."))
    common.values(
        {
            msg("{at}, {method}", at=formatting.day(test.at), method=test.method): msg(
                "{outcome}: {words}", outcome=OUTCOMES[test.outcome], words=test.words
            )
            for test in reversed(tests)
        }
    )
    for item in reversed(batch.of(AlkaliTest)):
        if item.photo:
            words = msg("{at}: {record}", at=formatting.day(item.at), record=describe(item.record))
            picture = cache.small_picture(desk.journal, item.photo, 640)
            st.image(picture, caption=tr(words), width=250, alt=tr(msg("Photo of the strip, {words}", words=words)))


def _sign(desk: Desk, batch: Batch, judgement: Judgement) -> None:
    st.subheader(tr(msg("Release")))
    common.say(LOCAL_CODES)
    for at, decision in batch.records(Decision):
        when = formatting.moment(at, desk.zone)
        common.say(
            msg(
                "{when}: {act}, signed by {signed_by}. {statement}",
                when=when,
                act=decision.act,
                signed_by=decision.signed_by,
                statement=decision.statement,
            )
        )
    ready = judgement.releasable
    if common.may_enter(desk):
        evidence.accept_colour(desk, batch, judgement)
    if not ready:
        common.say(msg("It cannot be released now. {judgement}", judgement=common.because(judgement)), "soft")
    if not common.may_enter(desk):
        return
    _, last = batch.last_act
    answers = {"withdraw": "release", "lift hold": "hold"}
    options = [act for act in ACTS if act not in answers or (last is not None and last.act == answers[act])]
    if not judgement.recall:
        options.remove("keep on sale")
    act = st.radio(
        tr(msg("What do you sign?")),
        options,
        index=0 if ready else 1,
        format_func=localised(ACTS.__getitem__),
        key=f"act-{batch.code}",
    )
    # Once signed, the form is reset: a second press must not sign the same again.
    turn = entry.form_key("sign", batch)
    with st.form(turn):
        label = msg("Your name, in full: it stands as the signature")
        known = desk.by if desk.signed_in else ""
        name = st.text_input(tr(label), known, key=f"{turn}-name", max_chars=80, disabled=desk.signed_in)
        statement = st.text_area(
            tr(msg("What you state")), key=f"{turn}-statement", max_chars=2000, placeholder=tr(EXAMPLES[act])
        )
        common.say(
            msg(
                "The verdict and all its evidence are kept with the signature as they stand now. A signature is not "
                "taken "
                "back: the next one answers it."
            ),
            "soft",
        )
        sent = st.form_submit_button(
            tr(msg("Sign")),
            type="primary" if ready else "secondary",
            disabled=act == "release" and not ready,
            key=f"sign-go-{batch.code}",
        )
    if sent and not statement.strip():
        st.info(tr(msg("Say in your own words what you state. For example: “{example}”", example=EXAMPLES[act])))
    elif sent:
        signed = attempt(
            lambda: workflow.decide(
                desk.journal, batch.code, act, signed_by=name.strip(), statement=statement.strip(), on=desk.now
            )
        )
        if signed is not None:
            entry.tell(batch.code, [signed], turn)
            st.rerun()
