"""Where graces go, which, how rich, on which time through, and why: manners, the planner, the plan file."""

from gracewright.taste.assembling import placed
from gracewright.taste.lines import grace_words, read_grace
from gracewright.taste.manner import Manner, load_manner, manners
from gracewright.taste.model import Alternative, Bare, Choice, Plan
from gracewright.taste.plan_file import plan_lines, read_plan, write_plan
from gracewright.taste.plan_json import plan_json
from gracewright.taste.planner import make_plan
from gracewright.taste.schools import Suited, manner_for
from gracewright.taste.together import both, make_second, partner_of

__all__ = [
    "Alternative", "Bare", "Choice", "Manner", "Plan", "Suited", "both", "grace_words", "load_manner", "make_plan",
    "make_second", "manner_for", "manners", "partner_of", "placed", "plan_json", "plan_lines", "read_grace",
    "read_plan", "write_plan",
]  # fmt: skip
