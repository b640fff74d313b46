"""What every story begins with."""

import pytest

from curejournal.journal.store import Journal
from tests.stories.workshop import Workshop


@pytest.fixture
def workshop(journal: Journal) -> Workshop:
    """An invented workshop whose journal is still empty."""
    return Workshop(journal)
