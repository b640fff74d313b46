"""What a recipe's lye does, in a sentence a maker can act on."""

from __future__ import annotations

from curejournal.base.counting import digits
from curejournal.base.messages import join, msg, quantity
from curejournal.soap.lye import LyeCheck


def answer(checked: LyeCheck) -> str:
    """Say what the lye leaves, how sure that is, and why it is no surer.

    Parameters
    ----------
    checked : LyeCheck

    Returns
    -------
    str
        One sentence, or two.

    Examples
    --------
    “143 g of lye leaves some oil unsaponified: superfat 5%, likely 2 to 8, mostly because the saponification value of
    olive is known only as 184 to 196.”
    """
    if checked.lye_g <= 0:
        return msg("There is no lye in this recipe yet.")
    lye = msg("{lye_g} of lye", lye_g=quantity(digits(checked.lye_g, 0 if checked.lye_g >= 20 else 1), "g"))
    low, high = (digits(pct, 0) for pct in checked.superfat_interval_pct)
    if checked.unknown_oils:
        names = join(" and ", (f"“{name}”" for name in checked.unknown_oils))
        low, high = (digits(pct, 0) for pct in checked.superfat_worst_pct)
        return msg(
            "What {lye} leaves cannot be told: how much {names} takes up is not known. Superfat {low} to {high}%.",
            lye=lye,
            names=names,
            low=low,
            high=high,
        )
    nominal = digits(checked.superfat_nominal_pct, 0)
    why = msg(", mostly because {because}", because=checked.because) if checked.because else ""
    figures = msg("superfat {nominal}%, likely {low} to {high}{why}", nominal=nominal, low=low, high=high, why=why)
    if checked.superfat_nominal_pct < 0:
        return msg("{lye} is more than these oils take up: {figures}.", lye=lye, figures=figures)
    if checked.superfat_interval_pct[0] < 0:
        return msg("{lye} may be more than these oils take up: {figures}.", lye=lye, figures=figures)
    return msg("{lye} leaves some oil unsaponified: {figures}.", lye=lye, figures=figures)


def figures(checked: LyeCheck) -> list[tuple[str, str]]:
    """The figures behind it, a name and a value each.

    Parameters
    ----------
    checked : LyeCheck

    Returns
    -------
    list of (str, str)
        Name and value with its unit.
    """
    low, high, worst, best = (digits(pct, 1) for pct in (*checked.superfat_interval_pct, *checked.superfat_worst_pct))
    found = []
    if not checked.unknown_oils:
        found.append(
            (
                "Superfat",
                msg(
                    "{superfat_nominal_pct} %, 95% interval {low} to {high} %",
                    superfat_nominal_pct=digits(checked.superfat_nominal_pct, 1),
                    low=low,
                    high=high,
                ),
            )
        )
    found.append((msg("At worst"), msg("{worst} to {best} %, every spread taken at its worst", worst=worst, best=best)))
    if checked.acids_take_g:
        found.append(
            (
                msg("Taken up by acids"),
                msg(
                    "{acids_take_g} of pure NaOH, or as much KOH",
                    acids_take_g=quantity(f"{checked.acids_take_g:.1f}", "g"),
                ),
            )
        )
    ratio = checked.lye_concentration_pct
    found.append((msg("Total lye concentration"), f"{ratio:.1f} %" if ratio is not None else msg("no alkali in it")))
    found.append(
        (
            "Water",
            msg(
                "{water_g} in {batch_g}, {water_share:.1f} %: no bar can lose more than that part",
                water_g=quantity(f"{checked.water_g:.1f}", "g"),
                batch_g=quantity(f"{checked.batch_g:.1f}", "g"),
                water_share=100 * checked.water_share,
            ),
        )
    )
    return found
