"""Everything that an analysis holds as plain files: maps, tables, curves, the surface as a body.

`export_all` writes a folder that is there whole or not at all and describes itself in its
``datapackage.json``; `plan` tells before what that will be and how large.
"""

from .everything import Exported, Plan, export_all, plan
from .wanted import FORMATS, PARTS, SURFACES, Body, Wanted

__all__ = ["FORMATS", "PARTS", "SURFACES", "Body", "Exported", "Plan", "Wanted", "export_all",
           "plan"]  # fmt: skip
