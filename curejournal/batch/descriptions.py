"""Each record of a batch in one plain line."""

from __future__ import annotations

from collections.abc import Callable

from curejournal.base.counting import digits
from curejournal.base.messages import join, msg, msg_n, quantity
from curejournal.batch.kinds import KINDS
from curejournal.batch.records import (
    AlkaliTest,
    BarsBack,
    BarsOut,
    BatchKind,
    ColourAccepted,
    ColourReading,
    Complaint,
    Decision,
    Deviation,
    Event,
    MakingDetails,
    OwnRules,
    PacketCheck,
    PhotoNote,
    PhotoView,
    Place,
    Portion,
    Record,
    Renamed,
    ScalarReading,
    SurfaceNote,
    Weighing,
    WeighingCheck,
    Withdrawn,
)
from curejournal.batch.workshop import ContactErased, MaterialLot, PhotoAnswers, RoomLog, StripKeyEnrolled, TagId
from curejournal.soap.recipe import Acid, Alkali, Embed, Recipe


def describe(record: Record) -> str:
    """What a record says, in one line."""
    return _DESCRIPTIONS[type(record)](record)


def _recipe(record: Recipe) -> str:
    oils = record.oils
    lye = join(" and ", map(alkali_words, record.alkalis))
    fats = msg(
        "{total} of {oils}",
        total=quantity(f"{sum(oil.grams for oil in oils):g}", "g"),
        oils=msg_n("{number} oil", "{number} oils", len(oils)),
    )
    told = [fats if oils else "", lye, *map(acid_words, record.acids), *map(describe_embed, record.embeds)]
    told += [
        msg("{grams} of batter for {portion}", grams=quantity(f"{part.grams:g}", "g"), portion=part.portion)
        for part in record.batter
    ]
    name = f" {record.name}" if record.name else ""
    return msg("recipe{name}: {part}", name=name, part=join(", ", (part for part in told if part)))


def _portion(record: Portion) -> str:
    about = " (control)" if record.control else ""
    wanted = (
        ""
        if record.target_lab is None
        else msg(", meant to be {target_lab}", target_lab=describe_lab(record.target_lab))
    )
    wanted += msg(" ({target_from})", target_from=record.target_from) if record.target_from else ""
    return msg("portion {name}{about}{wanted}", name=record.name, about=about, wanted=wanted)


def _event(record: Event) -> str:
    facts = [record.note]
    facts += [f"{digits(record.temperature_c)}\u00a0°C"] if record.temperature_c is not None else []
    facts += [msg_n("{number} bar", "{number} bars", record.bars)] if record.bars is not None else []
    return join(" · ", (part for part in (msg(record.kind), record.portion, *facts) if part))


def _colour_reading(record: ColourReading) -> str:
    return msg(
        "colour of {portion}: {lab} ({grade}, card {card})",
        portion=record.subject,
        lab=describe_lab(record.lab),
        grade=record.grade,
        card=record.card,
    )


def _photo_note(record: PhotoNote) -> str:
    return msg("photo {caption}", caption=record.caption).rstrip() + (
        msg(": no colour. {why_no_colour}", why_no_colour=record.why_no_colour) if record.why_no_colour else ""
    )


def _photo_view(record: PhotoView) -> str:
    facts = [msg("balanced by {portion}", portion=record.portion)] if record.place else []
    facts += [msg("in the light of a photo with the card")] if record.same_light else []
    facts += ["cut"] if record.crop else []
    facts += [msg("turned by {turn_deg}°", turn_deg=digits(record.turn_deg, 1))] if record.turn_deg else []
    facts += [msg("cover of the batch")] if record.cover else []
    return msg("photo shown {facts}", facts=join(", ", facts) or "as it was taken")


def _weighing(record: Weighing) -> str:
    bars = msg(" of {bars} bars", bars=record.bars) if record.bars > 1 else ""
    return msg(
        "{subject}{bars}: {grams} (scale {resolution_g})",
        subject=record.subject,
        bars=bars,
        grams=quantity(f"{record.grams:g}", "g"),
        resolution_g=quantity(f"{record.resolution_g:g}", "g"),
    )


def _titration(record: AlkaliTest) -> str:
    used = join(", ", (f"{ml:g}" for ml in record.acid_ml))
    acid = msg("{used} ml of {acid_mol_l:g} mol/l acid", used=used, acid_mol_l=record.acid_mol_l or 0)
    bar = msg(" of {bar}", bar=record.bar) if record.bar else ""
    return msg(
        "titration: {acid} on {soap_g} of soap{bar}",
        acid=acid,
        soap_g=quantity(f"{record.soap_g or 0:g}", "g"),
        bar=bar,
    )


def _alkali_test(record: AlkaliTest) -> str:
    if record.method == "titration":
        return _titration(record)
    doubt = f" ± {record.half_width:g}" if record.half_width is not None else ""
    doubt += "".join(
        msg(", {what}", what=what)
        for what in (record.bar, record.packet and msg("packet {packet}", packet=record.packet))
        if what
    )
    return msg(
        "pH {ph:g}{doubt} by {method}, {strength_pct} % solution",
        ph=record.ph,
        doubt=doubt,
        method=record.method,
        strength_pct=record.strength_pct or "?",
    )


def _surface_note(record: SurfaceNote) -> str:
    facts = [msg("surface clear") if record.look == "clear" else msg("surface: {look}", look=record.look)]
    if record.count is not None:
        bars = record.look == "lye pocket"
        facts.append(
            msg_n("{number} bar", "{number} bars", record.count)
            if bars
            else msg_n("{number} spot", "{number} spots", record.count)
        )
    facts += [msg("{area_pct:g} % of the surface", area_pct=record.area_pct)] if record.area_pct is not None else []
    facts += [msg("outside only")] if record.outside_only else []
    facts += (
        [msg("{set_aside} set aside", set_aside=msg_n("{number} bar", "{number} bars", record.set_aside))]
        if record.set_aside
        else []
    )
    return join(" · ", (part for part in (*facts, record.note) if part))


def _scalar_reading(record: ScalarReading) -> str:
    unit = KINDS[record.kind].unit if record.kind in KINDS else ""
    amount = quantity(digits(record.value), unit) if unit else digits(record.value)
    return msg("{kind} {amount}", kind=record.kind, amount=amount)


def _bars_out(record: BarsOut) -> str:
    bars = msg_n("{number} bar", "{number} bars", record.bars)
    where = msg(" (to {to})", to=record.to) if record.to else ""
    order = msg("order {order}", order=record.order) if record.order else ""
    return join(" · ", (part for part in (f"{bars} {record.why}{where}", order, record.note) if part))


def _bars_back(record: BarsBack) -> str:
    sure = msg("may go out again") if record.sellable else msg("kept apart")
    whom = msg(" from {to}", to=record.to) if record.to else ""
    return msg(
        "{bars} came back{whom}, {sure}: {why}",
        bars=msg_n("{number} bar", "{number} bars", record.bars),
        whom=whom,
        sure=sure,
        why=record.why,
    )


def _complaint(record: Complaint) -> str:
    of = msg(" of {bars}", bars=msg_n("{number} bar", "{number} bars", record.bars)) if record.bars else ""
    return msg("complaint{of}: {what}", of=of, what=record.what) + (
        msg("; {outcome}", outcome=record.outcome) if record.outcome else msg("; not settled yet")
    )


def _batch_kind(record: BatchKind) -> str:
    return msg("kind of batch: {kind}", kind=record.kind) + (msg(" ({why})", why=record.why) if record.why else "")


def _place(record: Place) -> str:
    return msg("{subject} lies at {words}", subject=record.subject or "it", words=record.words)


def _own_rules(record: OwnRules) -> str:
    limits = join(", ", (f"{name} {value:g}" for name, value in record.limits))
    return (
        msg("rules of its own: {limits} ({why})", limits=limits, why=record.why)
        if limits
        else msg("no rules of its own ({why})", why=record.why)
    )


def _making_details(record: MakingDetails) -> str:
    told = [msg("weighed by {weighed_by}", weighed_by=record.weighed_by) if record.weighed_by else ""]
    told += [msg("checked by {checked_by}", checked_by=record.checked_by) if record.checked_by else ""]
    told += [msg("instruction {instruction}", instruction=record.instruction) if record.instruction else ""]
    told += [msg("best before {best_before}", best_before=record.best_before) if record.best_before else ""]
    return join(", ", (part for part in told if part)) or msg("details of its making")


def _deviation(record: Deviation) -> str:
    why = msg(": {why}", why=record.why) if record.why else ""
    return msg("deviation: {what}; {disposition}{why}", what=record.what, disposition=record.disposition, why=why)


def _decision(record: Decision) -> str:
    return msg(
        "{act}, signed by {signed_by}: {statement}",
        act=record.act,
        signed_by=record.signed_by,
        statement=record.statement,
    )


def _weighing_check(record: WeighingCheck) -> str:
    batter = (
        msg(", {batter_g} of batter", batter_g=quantity(f"{record.batter_g:g}", "g"))
        if record.batter_g is not None
        else ""
    )
    return msg("weighing check: {covers} {how}{batter}", covers=record.covers, how=record.how, batter=batter)


def _packet_check(record: PacketCheck) -> str:
    return msg(
        "strips of packet {packet}: pH {strip_ph:g} where a meter read {reference_ph:g}",
        packet=record.packet,
        strip_ph=record.strip_ph,
        reference_ph=record.reference_ph,
    )


def _colour_accepted(record: ColourAccepted) -> str:
    return msg("colour of {portion} accepted as it is: {why}", portion=record.portion, why=record.why)


def _renamed(record: Renamed) -> str:
    return msg("called {name}", name=record.name)


def _withdrawn(record: Withdrawn) -> str:
    return msg("taken back: {why}", why=record.why)


def _photo_answers(record: PhotoAnswers) -> str:
    said = (record.aside, record.of_batch, record.taken_at, *(record.portions or ()))
    return msg("answers about a photo: {part}", part=join(", ", (part for part in said if part)) or "none")


def _strip_key_enrolled(record: StripKeyEnrolled) -> str:
    return msg(
        "key of pH strips {name}, lot {lot}: {steps}",
        name=record.name,
        lot=record.lot,
        steps=msg_n("{number} colour", "{number} colours", len(record.steps)),
    )


def _tag_id(record: TagId) -> str:
    return msg("id in this journal's batch tags: {written}", written=record.written)


def _material_lot(record: MaterialLot) -> str:
    facts = [msg("from {supplier}", supplier=record.supplier) if record.supplier else ""]
    facts += [msg("received {received}", received=record.received) if record.received else ""]
    facts += [msg("best before {best_before}", best_before=record.best_before) if record.best_before else ""]
    return join(
        ", ",
        (part for part in (msg("{material}, lot {lot}", material=record.material, lot=record.lot), *facts) if part),
    )


def _room_log(record: RoomLog) -> str:
    return msg(
        "room log {source}: {readings}",
        source=record.source,
        readings=msg_n("{number} reading", "{number} readings", len(record.readings)),
    )


def _contact_erased(record: ContactErased) -> str:
    return msg("customer {contact} erased: {why}", contact=record.contact, why=record.why)


def describe_embed(embed: Embed) -> str:
    """Pieces of an earlier batch, or soap of it that was melted: how much, of which, where."""
    where = msg(" in {portion}", portion=embed.portion) if embed.portion else ""
    return msg(
        "{grams} of batch {batch} {melted}{where}",
        grams=quantity(f"{embed.grams:g}", "g"),
        batch=embed.batch,
        melted="melted" if embed.melted else "embedded",
        where=where,
    )


def alkali_words(alkali: Alkali) -> str:
    """How much alkali, solid or dissolved."""
    dissolved = (
        "" if alkali.solution_pct is None else msg(" solution of {solution_pct:g}%", solution_pct=alkali.solution_pct)
    )
    return msg(
        "{grams} {kind}{dissolved}", grams=quantity(f"{alkali.grams:g}", "g"), kind=alkali.kind, dissolved=dissolved
    )


def acid_words(acid: Acid) -> str:
    """How much of an acid, and how strong."""
    strength = "" if acid.strength_pct == 100 else msg(" of {strength_pct:g}%", strength_pct=acid.strength_pct)
    return msg("{grams} {key}{strength}", grams=quantity(f"{acid.grams:g}", "g"), key=acid.key, strength=strength)


def describe_lab(lab: tuple[float, float, float], decimals: int = 1) -> str:
    """L* 71.2, a* 3.0, b* 28.8."""
    return join(", ", (f"{axis}* {digits(value, decimals)}" for axis, value in zip("Lab", lab, strict=True)))


_DESCRIPTIONS: dict[type[Record], Callable[..., str]] = {
    Recipe: _recipe,
    Portion: _portion,
    Event: _event,
    ColourReading: _colour_reading,
    PhotoNote: _photo_note,
    PhotoView: _photo_view,
    Weighing: _weighing,
    AlkaliTest: _alkali_test,
    SurfaceNote: _surface_note,
    ScalarReading: _scalar_reading,
    BarsOut: _bars_out,
    BarsBack: _bars_back,
    Complaint: _complaint,
    BatchKind: _batch_kind,
    Place: _place,
    OwnRules: _own_rules,
    MakingDetails: _making_details,
    Deviation: _deviation,
    Decision: _decision,
    WeighingCheck: _weighing_check,
    PacketCheck: _packet_check,
    ColourAccepted: _colour_accepted,
    Renamed: _renamed,
    Withdrawn: _withdrawn,
    PhotoAnswers: _photo_answers,
    StripKeyEnrolled: _strip_key_enrolled,
    TagId: _tag_id,
    MaterialLot: _material_lot,
    RoomLog: _room_log,
    ContactErased: _contact_erased,
}
