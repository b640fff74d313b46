"""The use cases that leave the journal: fact sheets, records, portfolio, calendar, labels, recipes and bundles.

Like `workflow`, which they stand on: faces call these and show what comes back.
"""

from typing import TYPE_CHECKING

from curejournal.base.lazy import attach

if TYPE_CHECKING:
    from curejournal.documents.portfolio_soap import LAYOUTS as LAYOUTS
    from curejournal.documents.portfolio_soap import Design as Design
    from curejournal.documents.portfolio_soap import Layout as Layout
    from curejournal.documents.portfolio_soap import soap_of as soap_of
    from curejournal.journal.errors import FolderInUse as FolderInUse
    from curejournal.workflow.documents.papers import NothingChosen as NothingChosen
    from curejournal.workflow.documents.papers import batch_record as batch_record
    from curejournal.workflow.documents.papers import calendar_file as calendar_file
    from curejournal.workflow.documents.papers import fact_sheet as fact_sheet
    from curejournal.workflow.documents.papers import labels as labels
    from curejournal.workflow.documents.papers import lot as lot
    from curejournal.workflow.documents.papers import lot_page as lot_page
    from curejournal.workflow.documents.papers import net_weight as net_weight
    from curejournal.workflow.documents.papers import poured_on as poured_on
    from curejournal.workflow.documents.portfolio_files import NotReleased as NotReleased
    from curejournal.workflow.documents.portfolio_files import Packed as Packed
    from curejournal.workflow.documents.portfolio_files import offered as offered
    from curejournal.workflow.documents.portfolio_files import portfolio as portfolio
    from curejournal.workflow.documents.portfolio_files import portfolio_batch as portfolio_batch
    from curejournal.workflow.documents.portfolio_files import portfolio_on_paper as portfolio_on_paper
    from curejournal.workflow.documents.portfolio_files import portfolio_packed as portfolio_packed
    from curejournal.workflow.documents.portfolio_files import square_picture as square_picture
    from curejournal.workflow.documents.sharing import bundle as bundle
    from curejournal.workflow.documents.sharing import open_bundle as open_bundle
    from curejournal.workflow.documents.sharing import recipe_in as recipe_in
    from curejournal.workflow.documents.sharing import recipe_out as recipe_out
    from curejournal.workflow.documents.sharing import recipe_text as recipe_text

__getattr__ = attach(__name__)
