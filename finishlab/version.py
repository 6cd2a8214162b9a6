"""The version, in one place the code can read without asking the packaging tools."""

__version__ = "0.1.0"
