"""The most of everything that comes from outside: each is asked before it is read. All chosen by us.

They are far above what a workshop has in ten years, and low enough that a refusal takes at most 2 s and 300 MB.
`DEVELOPERS.md` has them as a table.
"""

from __future__ import annotations

NAME_CHARACTERS = 120
"""In the name of a batch, a material, a person's contact."""
TEXT_CHARACTERS = 20_000
"""In a note or any other text of a record: some eight printed pages."""
EVIDENCE_CHARACTERS = 2_000_000
"""In the evidence that is frozen with a signed act: that of a batch of a hundred photos has 100,000."""
LARGEST_NUMBER = 1e12
"""In any number of a record: a million tonnes, in grams."""
LIST_LENGTH = 5_000
"""Items in any list of a record: a card has some hundred patches, an outline some dozen corners."""
RECIPE_BYTES = 1_000_000
"""In a recipe file."""
RECIPE_ROWS = 500
"""In one part of a recipe, its oils say."""
BUNDLE_BYTES = 2_000_000_000
"""In the file of one batch: some four hundred photos as a phone takes them."""
BUNDLE_DATA_BYTES = 30_000_000
"""In the data of that file, unpacked: some twenty thousand entries."""
BUNDLE_FILES = 5_000
"""Photos in it."""
IMPORT_BYTES = 500_000_000
"""In the data of a journal, as JSON or tables: five times that of 40,000 photos, whose own bytes lie beside it."""
IMPORT_ROW_CHARACTERS = 5_000_000
"""In one row of that data: twice the longest evidence, as each of its quotation marks is written with an escape."""
IMPORT_HELD_BYTES = 20_000_000
"""In that data where it has to be held as a whole: written by an early version, or put into another order by hand."""
