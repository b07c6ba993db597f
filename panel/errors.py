"""What can go wrong, as exceptions.

::

    PanelError            anything this package raises on purpose
    ├── StudyError        a file or study that cannot be read, written or understood
    └── ModelError        a question the data cannot answer (too few prototypes, nothing varies, ...)

Problems *in* the user's data (a blank score, a code that is not in the plan) are not exceptions: they are
findings, collected by `panel.checks` and shown together.
"""


class PanelError(Exception):
    """Base of every error raised on purpose; its text says what is wrong, where, and what to do."""


class StudyError(PanelError):
    """A file or a study cannot be read, written or understood."""


class ModelError(PanelError):
    """The data cannot answer the question that was asked of them."""
