"""Draw and print: engraving, parallel staves, performing parts, teaching sheets."""

from gracewright.sheet.engrave import Engraved, engrave
from gracewright.sheet.fonts import web_fonts
from gracewright.sheet.layer import drawn_id, tone_of
from gracewright.sheet.mei import Staff, mei_of
from gracewright.sheet.parallel import parallel_sheet
from gracewright.sheet.systems import Box, System, systems_of

__all__ = [
    "Box",
    "Engraved",
    "Staff",
    "System",
    "drawn_id",
    "engrave",
    "mei_of",
    "parallel_sheet",
    "systems_of",
    "tone_of",
    "web_fonts",
]
