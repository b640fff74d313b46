"""The use cases that learn from all batches: what a material did, which one did it, what to expect of a planned pour.

Like `workflow`, on which they stand: faces call these and show what comes back.
"""

from typing import TYPE_CHECKING

from curejournal.base.lazy import attach

if TYPE_CHECKING:
    from curejournal.materials.history import Named as Named
    from curejournal.workflow.materials.analysis import EARLIER as EARLIER
    from curejournal.workflow.materials.analysis import MaterialReport as MaterialReport
    from curejournal.workflow.materials.analysis import MaterialUnknown as MaterialUnknown
    from curejournal.workflow.materials.analysis import Tell as Tell
    from curejournal.workflow.materials.analysis import Which as Which
    from curejournal.workflow.materials.analysis import all_materials as all_materials
    from curejournal.workflow.materials.analysis import compared as compared
    from curejournal.workflow.materials.analysis import expected as expected
    from curejournal.workflow.materials.analysis import material as material
    from curejournal.workflow.materials.analysis import planned as planned
    from curejournal.workflow.materials.analysis import stories_of as stories_of
    from curejournal.workflow.materials.analysis import which as which
    from curejournal.workflow.materials.darkening import Darkening as Darkening
    from curejournal.workflow.materials.darkening import when_it_darkens as when_it_darkens
    from curejournal.workflow.materials.json_output import material_as_json as material_as_json
    from curejournal.workflow.materials.json_output import planned_as_json as planned_as_json
    from curejournal.workflow.materials.json_output import which_as_json as which_as_json
    from curejournal.workflow.materials.outcomes import OUTCOMES as OUTCOMES
    from curejournal.workflow.materials.outcomes import OutcomeAnswer as OutcomeAnswer
    from curejournal.workflow.materials.outcomes import causes_of_outcome as causes_of_outcome
    from curejournal.workflow.materials.outcomes import happenings as happenings
    from curejournal.workflow.materials.sentences import base_words as base_words
    from curejournal.workflow.materials.sentences import effect_words as effect_words
    from curejournal.workflow.materials.sentences import lot_words as lot_words
    from curejournal.workflow.materials.sentences import lots_in_words as lots_in_words
    from curejournal.workflow.materials.sentences import material_in_words as material_in_words
    from curejournal.workflow.materials.sentences import outcome_words as outcome_words
    from curejournal.workflow.materials.sentences import planned_in_words as planned_in_words
    from curejournal.workflow.materials.sentences import pour_words as pour_words
    from curejournal.workflow.materials.sentences import which_in_words as which_in_words
    from curejournal.workflow.materials.test_pours import POUR_CAUTION as POUR_CAUTION
    from curejournal.workflow.materials.test_pours import Compared as Compared
    from curejournal.workflow.materials.test_pours import pours_made as pours_made
    from curejournal.workflow.materials.test_pours import proposed_pour as proposed_pour
    from curejournal.workflow.materials.test_pours import start_test_pour as start_test_pour

__getattr__ = attach(__name__)
