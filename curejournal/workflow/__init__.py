"""The use cases: everything a face can ask for, in the order in which its parts are done.

Faces call these and show what comes back. Times come in as arguments; only
faces ask what day it is.
"""

from typing import TYPE_CHECKING

from curejournal.base.lazy import attach

if TYPE_CHECKING:
    from curejournal.documents.card_sheet import Paper as Paper
    from curejournal.judging.target import NoColourToPick as NoColourToPick
    from curejournal.photo.card import Card as Card
    from curejournal.photo.health import PatchDrift as PatchDrift
    from curejournal.photo.measure.measurement import Measurement as Measurement
    from curejournal.photo.placement import Points as Points
    from curejournal.workflow.batches import FolderMissing as FolderMissing
    from curejournal.workflow.batches import NothingToKeep as NothingToKeep
    from curejournal.workflow.batches import ReadingDoubtful as ReadingDoubtful
    from curejournal.workflow.batches import ask as ask
    from curejournal.workflow.batches import back_up as back_up
    from curejournal.workflow.batches import doubts_about as doubts_about
    from curejournal.workflow.batches import doubts_about_pieces as doubts_about_pieces
    from curejournal.workflow.batches import embed_of as embed_of
    from curejournal.workflow.batches import enter as enter
    from curejournal.workflow.batches import enter_recipe as enter_recipe
    from curejournal.workflow.batches import last_entry as last_entry
    from curejournal.workflow.batches import next_code as next_code
    from curejournal.workflow.batches import rename as rename
    from curejournal.workflow.batches import set_portion as set_portion
    from curejournal.workflow.batches import set_target as set_target
    from curejournal.workflow.batches import start_batch as start_batch
    from curejournal.workflow.card_health import card_drift as card_drift
    from curejournal.workflow.cards import ChartMade as ChartMade
    from curejournal.workflow.cards import card_names as card_names
    from curejournal.workflow.cards import card_to_print as card_to_print
    from curejournal.workflow.cards import card_with_values as card_with_values
    from curejournal.workflow.cards import chart_made as chart_made
    from curejournal.workflow.cards import enrol_card as enrol_card
    from curejournal.workflow.cards import find_card as find_card
    from curejournal.workflow.corrections import QuestionStands as QuestionStands
    from curejournal.workflow.corrections import take_back as take_back
    from curejournal.workflow.corrections import undo as undo
    from curejournal.workflow.entering import enter_all as enter_all
    from curejournal.workflow.json_output import as_json as as_json
    from curejournal.workflow.json_output import card_as_json as card_as_json
    from curejournal.workflow.json_output import measurement_as_json as measurement_as_json
    from curejournal.workflow.photos import SOFTWARE as SOFTWARE
    from curejournal.workflow.photos import Corners as Corners
    from curejournal.workflow.photos import Places as Places
    from curejournal.workflow.photos import marked_picture as marked_picture
    from curejournal.workflow.photos import measure_photo as measure_photo
    from curejournal.workflow.photos import outline_of as outline_of
    from curejournal.workflow.photos import small_picture as small_picture
    from curejournal.workflow.photos import swatch as swatch
    from curejournal.workflow.photos import when_taken as when_taken
    from curejournal.workflow.recipe_files import RecipeUnreadable as RecipeUnreadable
    from curejournal.workflow.recipe_files import recipe_from as recipe_from
    from curejournal.workflow.rules import current_limits as current_limits
    from curejournal.workflow.rules import limits_of as limits_of
    from curejournal.workflow.rules import rule_sets as rule_sets
    from curejournal.workflow.rules import rules_state as rules_state
    from curejournal.workflow.rules import save_limits as save_limits
    from curejournal.workflow.rules import set_batch_rules as set_batch_rules
    from curejournal.workflow.rules import set_recipe_rules as set_recipe_rules
    from curejournal.workflow.settings import HERE as HERE
    from curejournal.workflow.settings import calendar as calendar
    from curejournal.workflow.settings import keep_settings as keep_settings
    from curejournal.workflow.settings import place as place
    from curejournal.workflow.settings import time_zone as time_zone
    from curejournal.workflow.settings import zone_named as zone_named
    from curejournal.workflow.verdicts import NotReady as NotReady
    from curejournal.workflow.verdicts import accepted_colour as accepted_colour
    from curejournal.workflow.verdicts import decide as decide
    from curejournal.workflow.verdicts import difference as difference
    from curejournal.workflow.verdicts import due_now as due_now
    from curejournal.workflow.verdicts import judge_batch as judge_batch
    from curejournal.workflow.verdicts import pieces_held as pieces_held
    from curejournal.workflow.verdicts import recall as recall
    from curejournal.workflow.verdicts import released_under as released_under
    from curejournal.workflow.verdicts import surroundings as surroundings

__getattr__ = attach(__name__)
