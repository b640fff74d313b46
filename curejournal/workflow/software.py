"""The name and version of this program, as records, documents and files have it."""

from importlib.metadata import version

SOFTWARE = f"curejournal {version('curejournal')}"
