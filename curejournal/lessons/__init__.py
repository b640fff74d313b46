"""The use cases that learn from all batches: what a material did, which one did it, what to expect of a planned pour.

Like `workflow`, on which they stand: faces call these and show what comes back.
"""

from typing import TYPE_CHECKING

from curejournal.lazy import attach

if TYPE_CHECKING:
    from curejournal.cure.materials import Named as Named
    from curejournal.lessons.asked import EARLIER as EARLIER
    from curejournal.lessons.asked import MaterialReport as MaterialReport
    from curejournal.lessons.asked import MaterialUnknown as MaterialUnknown
    from curejournal.lessons.asked import Tell as Tell
    from curejournal.lessons.asked import Which as Which
    from curejournal.lessons.asked import all_materials as all_materials
    from curejournal.lessons.asked import compared as compared
    from curejournal.lessons.asked import expected as expected
    from curejournal.lessons.asked import material as material
    from curejournal.lessons.asked import planned as planned
    from curejournal.lessons.asked import stories_of as stories_of
    from curejournal.lessons.asked import which as which
    from curejournal.lessons.plain import material_as_json as material_as_json
    from curejournal.lessons.plain import planned_as_json as planned_as_json
    from curejournal.lessons.plain import which_as_json as which_as_json
    from curejournal.lessons.words import base_words as base_words
    from curejournal.lessons.words import effect_words as effect_words
    from curejournal.lessons.words import lot_words as lot_words
    from curejournal.lessons.words import lots_in_words as lots_in_words
    from curejournal.lessons.words import material_in_words as material_in_words
    from curejournal.lessons.words import outcome_words as outcome_words
    from curejournal.lessons.words import planned_in_words as planned_in_words
    from curejournal.lessons.words import pour_words as pour_words
    from curejournal.lessons.words import which_in_words as which_in_words

__getattr__ = attach(__name__)
