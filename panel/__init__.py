"""Panel tests of emollient prototypes, from scores and formulas to what the data allow one to say."""

__version__ = "0.1.0"
