"""The local page in the browser: a place to decide, over the same rooms as the command line."""

from gracewright.desk.answers import Desk
from gracewright.desk.keeping import Keeping, state_folder
from gracewright.desk.server import make_app, serve
from gracewright.desk.session import Session, Stale

__all__ = ["Desk", "Keeping", "Session", "Stale", "make_app", "serve", "state_folder"]
