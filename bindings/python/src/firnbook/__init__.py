"""The field log of an avalanche-rescue training day, from Python.

Everything in `generated` is made from the library: `Logbook` and `Recorder` come from `firnbook_bindings`, the records from `firnbook_core`.
"""

from .generated.firnbook_bindings import *  # noqa: F403
from .generated.firnbook_core import *  # noqa: F403
from .generated.firnbook_core import FirnbookError


def _sentence(error: FirnbookError) -> str:
    """What a person reads where an error is printed."""
    return error.sentence()


# The generator lists an error's fields where Python expects its text.
for _sort in (FirnbookError, *FirnbookError.__dict__.values()):
    if isinstance(_sort, type) and issubclass(_sort, Exception):
        _sort.__str__ = _sentence  # type: ignore[method-assign, assignment]
del _sort
