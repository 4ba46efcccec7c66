"""What every outside check can ask for."""

import pytest
from reckon import Reckon


@pytest.fixture(scope="session")
def ask():
    """Asks the mathematics of core: `ask("stats.mean", values=[1, 2])`."""
    reckon = Reckon()
    yield reckon.ask
    reckon.close()
