"""What a recipe's lye does, in a sentence a maker can act on."""

from __future__ import annotations

from curejournal.base.counting import digits
from curejournal.soap.lye import LyeCheck


def answer(checked: LyeCheck) -> str:
    """Say what the lye leaves, how sure that is, and why it is no surer.

    Examples
    --------
    “143 g of lye leaves some oil unsaponified: superfat 5%, likely 2 to 8, mostly because the saponification value of
    olive is known only as 184 to 196.”
    """
    if checked.lye_g <= 0:
        return "There is no lye in this recipe yet."
    lye = f"{digits(checked.lye_g, 0 if checked.lye_g >= 20 else 1)}\u00a0g of lye"
    low, high = (digits(pct, 0) for pct in checked.superfat_interval_pct)
    if checked.unknown_oils:
        names = " and ".join(f"“{name}”" for name in checked.unknown_oils)
        low, high = (digits(pct, 0) for pct in checked.superfat_worst_pct)
        return f"What {lye} leaves cannot be told: how much {names} takes up is not known. Superfat {low} to {high}%."
    nominal = digits(checked.superfat_nominal_pct, 0)
    why = f", mostly because {checked.because}" if checked.because else ""
    figures = f"superfat {nominal}%, likely {low} to {high}{why}"
    if checked.superfat_nominal_pct < 0:
        return f"{lye} is more than these oils take up: {figures}."
    if checked.superfat_interval_pct[0] < 0:
        return f"{lye} may be more than these oils take up: {figures}."
    return f"{lye} leaves some oil unsaponified: {figures}."


def figures(checked: LyeCheck) -> list[tuple[str, str]]:
    """The figures behind it, a name and a value each."""
    low, high, worst, best = (digits(pct, 1) for pct in (*checked.superfat_interval_pct, *checked.superfat_worst_pct))
    found = []
    if not checked.unknown_oils:
        found.append(("Superfat", f"{digits(checked.superfat_nominal_pct, 1)} %, 95% interval {low} to {high} %"))
    found.append(("At worst", f"{worst} to {best} %, every spread taken at its worst"))
    if checked.acids_take_g:
        found.append(("Taken up by acids", f"{checked.acids_take_g:.1f}\u00a0g of pure NaOH, or as much KOH"))
    ratio = checked.lye_concentration_pct
    found.append(("Total lye concentration", f"{ratio:.1f} %" if ratio is not None else "no alkali in it"))
    found.append(
        (
            "Water",
            f"{checked.water_g:.1f}\u00a0g in {checked.batch_g:.1f}\u00a0g, {100 * checked.water_share:.1f} %: "
            "no bar can lose more than that part",
        )
    )
    return found
