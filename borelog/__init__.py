"""borelog: the record, the verdict and the findings pack of one petrol engine, cylinder by cylinder."""

__version__ = "0.1.0"
