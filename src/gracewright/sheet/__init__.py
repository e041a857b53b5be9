"""Draw and print: engraving, parallel staves, performing parts, teaching sheets."""

from gracewright.sheet.clefs import readable
from gracewright.sheet.engrave import Engraved, engrave
from gracewright.sheet.examples import Example, Written, engraved_example, example_of
from gracewright.sheet.excerpts import excerpt
from gracewright.sheet.faults import Fault, faults_of
from gracewright.sheet.fonts import web_fonts
from gracewright.sheet.ladder import practice_ladder
from gracewright.sheet.layer import drawn_id, tone_of
from gracewright.sheet.mei import Staff, mei_of
from gracewright.sheet.parallel import parallel_sheet, parallel_staves, reasons_of
from gracewright.sheet.part import part_sheet
from gracewright.sheet.source import source_sheet
from gracewright.sheet.study_sheet import study_sheet, study_systems
from gracewright.sheet.systems import Box, System, systems_of
from gracewright.sheet.teaching import graded_sheet, manners_sheet, signs_sheet, worksheet
from gracewright.sheet.typeset import PAPERS

__all__ = [
    "PAPERS", "Box", "Engraved", "Example", "Fault", "Staff", "System", "Written", "drawn_id", "engrave",
    "engraved_example", "example_of", "excerpt", "faults_of", "graded_sheet", "manners_sheet", "mei_of",
    "parallel_sheet", "parallel_staves", "part_sheet", "practice_ladder", "readable", "reasons_of", "signs_sheet",
    "source_sheet", "study_sheet", "study_systems", "systems_of", "tone_of", "web_fonts", "worksheet",
]  # fmt: skip
