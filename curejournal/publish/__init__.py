"""The use cases that leave the journal: fact sheets, records, portfolio, calendar, labels, recipes and bundles.

Like `workflow`, which they stand on: faces call these and show what comes back.
"""

from typing import TYPE_CHECKING

from curejournal.lazy import attach

if TYPE_CHECKING:
    from curejournal.journal.faults import FolderInUse as FolderInUse
    from curejournal.publish.papers import NothingChosen as NothingChosen
    from curejournal.publish.papers import batch_record as batch_record
    from curejournal.publish.papers import calendar_file as calendar_file
    from curejournal.publish.papers import fact_sheet as fact_sheet
    from curejournal.publish.papers import labels as labels
    from curejournal.publish.papers import lot as lot
    from curejournal.publish.papers import lot_page as lot_page
    from curejournal.publish.papers import net_weight as net_weight
    from curejournal.publish.papers import poured_on as poured_on
    from curejournal.publish.passing_on import bundle as bundle
    from curejournal.publish.passing_on import open_bundle as open_bundle
    from curejournal.publish.passing_on import recipe_in as recipe_in
    from curejournal.publish.passing_on import recipe_out as recipe_out
    from curejournal.publish.passing_on import recipe_text as recipe_text
    from curejournal.publish.showing import Packed as Packed
    from curejournal.publish.showing import portfolio as portfolio
    from curejournal.publish.showing import portfolio_on_paper as portfolio_on_paper
    from curejournal.publish.showing import portfolio_packed as portfolio_packed

__getattr__ = attach(__name__)
