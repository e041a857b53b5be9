"""Passages over a plain line: a long note divided into many, led by figures that are kept as data."""

from gracewright.divisions.ground import grounds
from gracewright.divisions.model import Division, Ground
from gracewright.divisions.search import divisions_for
from gracewright.divisions.tables import groups, load_style, styles

__all__ = ["Division", "Ground", "divisions_for", "grounds", "groups", "load_style", "styles"]
