"""What the place is: a folder of YAML, read with positions, proved sound, and resolved to plain data for the core.

folder ─▶ read (tree, places) ─▶ parse (models) ─▶ site, references (resolved data) ─▶ Loaded
"""

from roomlink.venue.findings import Finding, Place
from roomlink.venue.load import Loaded, load

__all__ = ["Finding", "Loaded", "Place", "load"]
