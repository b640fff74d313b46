"""The one way of a photo: `analyse` its bytes, `propose` what it makes or what is asked, `commit` that in one write."""

from typing import TYPE_CHECKING

from curejournal.base.lazy import attach

if TYPE_CHECKING:
    from curejournal.photo.analysis import Cards as Cards
    from curejournal.photo.analysis import Marks as Marks
    from curejournal.photo.analysis import PhotoAnalysis as PhotoAnalysis
    from curejournal.photo.analysis import analyse as analyse
    from curejournal.photo.window.surface import Finding as Finding
    from curejournal.workflow.photos.adding import Arrival as Arrival
    from curejournal.workflow.photos.adding import Source as Source
    from curejournal.workflow.photos.adding import add_analysed as add_analysed
    from curejournal.workflow.photos.adding import add_photo as add_photo
    from curejournal.workflow.photos.adding import add_photos as add_photos
    from curejournal.workflow.photos.adding import preview as preview
    from curejournal.workflow.photos.answers import ALL as ALL
    from curejournal.workflow.photos.answers import Answers as Answers
    from curejournal.workflow.photos.answers import Question as Question
    from curejournal.workflow.photos.answers import answers_to as answers_to
    from curejournal.workflow.photos.commit import cards_for as cards_for
    from curejournal.workflow.photos.contributing import NothingToGive as NothingToGive
    from curejournal.workflow.photos.contributing import contribute as contribute
    from curejournal.workflow.photos.dates import Clock as Clock
    from curejournal.workflow.photos.dates import when_taken as when_taken
    from curejournal.workflow.photos.importing import Progress as Progress
    from curejournal.workflow.photos.importing import files_in as files_in
    from curejournal.workflow.photos.importing import import_photos as import_photos
    from curejournal.workflow.photos.inbox import PhotoWaits as PhotoWaits
    from curejournal.workflow.photos.inbox import card_corners as card_corners
    from curejournal.workflow.photos.inbox import inbox_items as inbox_items
    from curejournal.workflow.photos.inbox import item_of as item_of
    from curejournal.workflow.photos.inbox import place as place
    from curejournal.workflow.photos.inbox import proposed_areas as proposed_areas
    from curejournal.workflow.photos.inbox import set_aside as set_aside
    from curejournal.workflow.photos.inbox import set_clock as set_clock
    from curejournal.workflow.photos.items import InboxItem as InboxItem
    from curejournal.workflow.photos.items import PhotoColour as PhotoColour
    from curejournal.workflow.photos.measuring import Corners as Corners
    from curejournal.workflow.photos.measuring import Places as Places
    from curejournal.workflow.photos.measuring import measure_photo as measure_photo
    from curejournal.workflow.photos.measuring import outline_of as outline_of
    from curejournal.workflow.photos.measuring import swatch as swatch
    from curejournal.workflow.photos.pictures import corrected as corrected
    from curejournal.workflow.photos.pictures import corrected_photo as corrected_photo
    from curejournal.workflow.photos.pictures import marked_picture as marked_picture
    from curejournal.workflow.photos.pictures import outlined_photo as outlined_photo
    from curejournal.workflow.photos.pictures import outlined_picture as outlined_picture
    from curejournal.workflow.photos.pictures import small_picture as small_picture
    from curejournal.workflow.photos.propose import Filing as Filing
    from curejournal.workflow.photos.surfaces import confirm_surface as confirm_surface
    from curejournal.workflow.photos.surfaces import growth as growth
    from curejournal.workflow.photos.surfaces import unanswered as unanswered
    from curejournal.workflow.photos.tags import journal_id as journal_id
    from curejournal.workflow.photos.tags import tag_text as tag_text
    from curejournal.workflow.software import SOFTWARE as SOFTWARE

__getattr__ = attach(__name__)
