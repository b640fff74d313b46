"""Each record of a batch in one plain line."""

from __future__ import annotations

from curejournal.base.counting import digits, how_many
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
    match record:
        case Recipe(oils=oils, alkalis=alkalis):
            lye = " and ".join(map(alkali_words, alkalis))
            fats = f"{sum(oil.grams for oil in oils):g}\u00a0g of {how_many(len(oils), 'oil')}"
            told = [fats if oils else "", lye, *map(acid_words, record.acids), *map(describe_embed, record.embeds)]
            told += [f"{part.grams:g}\u00a0g of batter for {part.portion}" for part in record.batter]
            name = f" {record.name}" if record.name else ""
            return f"recipe{name}: {', '.join(part for part in told if part)}"
        case Portion():
            about = " (control)" if record.control else ""
            wanted = "" if record.intended_lab is None else f", meant to be {describe_lab(record.intended_lab)}"
            wanted += f" ({record.intended_from})" if record.intended_from else ""
            return f"portion {record.name}{about}{wanted}"
        case Event():
            facts = [record.note]
            facts += [f"{digits(record.temperature_c)}\u00a0°C"] if record.temperature_c is not None else []
            facts += [how_many(record.bars, "bar")] if record.bars is not None else []
            return " · ".join(part for part in (record.kind, record.portion, *facts) if part)
        case ColourReading():
            return f"colour of {record.portion}: {describe_lab(record.lab)} ({record.grade}, card {record.card})"
        case PhotoNote():
            return f"photo {record.caption}".rstrip() + (
                f": no colour. {record.why_no_colour}" if record.why_no_colour else ""
            )
        case PhotoView():
            facts = [f"balanced by {record.portion}"] if record.place else []
            facts += ["cut"] if record.crop else []
            facts += [f"turned by {digits(record.turn_deg, 1)}°"] if record.turn_deg else []
            facts += ["cover of the batch"] if record.cover else []
            return f"photo shown {', '.join(facts) or 'as it was taken'}"
        case Weighing():
            bars = f" of {record.bars} bars" if record.bars > 1 else ""
            return f"{record.subject}{bars}: {record.grams:g}\u00a0g (scale {record.resolution_g:g}\u00a0g)"
        case AlkaliTest(method="titration"):
            used = ", ".join(f"{ml:g}" for ml in record.acid_ml)
            acid = f"{used} ml of {record.acid_mol_l or 0:g} mol/l acid"
            bar = f" of {record.bar}" if record.bar else ""
            return f"titration: {acid} on {record.soap_g or 0:g}\u00a0g of soap{bar}"
        case AlkaliTest():
            doubt = f" ± {record.half_width:g}" if record.half_width is not None else ""
            doubt += "".join(f", {what}" for what in (record.bar, record.packet and f"packet {record.packet}") if what)
            return f"pH {record.ph:g}{doubt} by {record.method}, {record.strength_pct or '?'} % solution"
        case SurfaceNote():
            facts = ["surface clear" if record.look == "clear" else f"surface: looks like {record.look}"]
            facts += [how_many(record.count, "spot")] if record.count is not None else []
            facts += [f"{record.area_pct:g} % of the surface"] if record.area_pct is not None else []
            facts += ["outside only"] if record.outside_only else []
            facts += [f"{how_many(record.set_aside, 'bar')} set aside"] if record.set_aside else []
            return " · ".join(part for part in (*facts, record.note) if part)
        case ScalarReading():
            unit = KINDS[record.kind].unit if record.kind in KINDS else ""
            return f"{record.kind} {digits(record.value)}\u00a0{unit}".rstrip()
        case BarsOut():
            bars = how_many(record.bars, "bar")
            where = f" (to {record.to})" if record.to else ""
            order = f"order {record.order}" if record.order else ""
            return " · ".join(part for part in (f"{bars} {record.why}{where}", order, record.note) if part)
        case BarsBack():
            sure = "may go out again" if record.sellable else "kept apart"
            whom = f" from {record.to}" if record.to else ""
            return f"{how_many(record.bars, 'bar')} came back{whom}, {sure}: {record.why}"
        case Complaint():
            of = f" of {how_many(record.bars, 'bar')}" if record.bars else ""
            return f"complaint{of}: {record.what}" + (f"; {record.outcome}" if record.outcome else "; not settled yet")
        case BatchKind():
            return f"kind of batch: {record.kind}" + (f" ({record.why})" if record.why else "")
        case Place():
            return f"{record.subject or 'it'} lies at {record.words}"
        case OwnRules():
            limits = ", ".join(f"{name} {value:g}" for name, value in record.limits)
            return f"rules of its own: {limits} ({record.why})" if limits else f"no rules of its own ({record.why})"
        case MakingDetails():
            told = [f"weighed by {record.weighed_by}" if record.weighed_by else ""]
            told += [f"checked by {record.checked_by}" if record.checked_by else ""]
            told += [f"instruction {record.instruction}" if record.instruction else ""]
            told += [f"best before {record.best_before}" if record.best_before else ""]
            return ", ".join(part for part in told if part) or "details of its making"
        case Deviation():
            why = f": {record.why}" if record.why else ""
            return f"deviation: {record.what}; {record.disposition}{why}"
        case Decision():
            return f"{record.act}, signed by {record.signed_by}: {record.statement}"
        case WeighingCheck():
            batter = f", {record.batter_g:g}\u00a0g of batter" if record.batter_g is not None else ""
            return f"weighing check: {record.covers} {record.how}{batter}"
        case PacketCheck():
            return (
                f"strips of packet {record.packet}: pH {record.strip_ph:g} where a meter read {record.reference_ph:g}"
            )
        case ColourAccepted():
            return f"colour of {record.portion} accepted as it is: {record.why}"
        case Renamed():
            return f"called {record.name}"
        case Withdrawn():
            return f"taken back: {record.why}"
        case PhotoAnswers():
            said = (record.aside, record.of_batch, record.taken_at, *(record.portions or ()))
            return f"answers about a photo: {', '.join(part for part in said if part) or 'none'}"
        case StripKeyEnrolled():
            return f"key of pH strips {record.name}, lot {record.lot}: {how_many(len(record.steps), 'colour')}"
        case TagId():
            return f"id in this journal's batch tags: {record.written}"
        case MaterialLot():
            facts = [f"from {record.supplier}" if record.supplier else ""]
            facts += [f"received {record.received}" if record.received else ""]
            facts += [f"best before {record.best_before}" if record.best_before else ""]
            return ", ".join(part for part in (f"{record.material}, lot {record.lot}", *facts) if part)
        case RoomLog():
            return f"room log {record.source}: {how_many(len(record.readings), 'reading')}"
        case ContactErased():
            return f"contact {record.contact} erased: {record.why}"
    raise TypeError(type(record))


def describe_embed(embed: Embed) -> str:
    """Pieces of an earlier batch, or soap of it that was melted: how much, of which, where."""
    where = f" in {embed.portion}" if embed.portion else ""
    return f"{embed.grams:g}\u00a0g of batch {embed.batch} {'melted' if embed.melted else 'embedded'}{where}"


def alkali_words(alkali: Alkali) -> str:
    """How much alkali, solid or dissolved."""
    dissolved = "" if alkali.solution_pct is None else f" solution of {alkali.solution_pct:g}%"
    return f"{alkali.grams:g}\u00a0g {alkali.kind}{dissolved}"


def acid_words(acid: Acid) -> str:
    """How much of an acid, and how strong."""
    strength = "" if acid.strength_pct == 100 else f" of {acid.strength_pct:g}%"
    return f"{acid.grams:g}\u00a0g {acid.key}{strength}"


def describe_lab(lab: tuple[float, float, float], decimals: int = 1) -> str:
    """L* 71.2, a* 3.0, b* 28.8."""
    return ", ".join(f"{axis}* {digits(value, decimals)}" for axis, value in zip("Lab", lab, strict=True))
