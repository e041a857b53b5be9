"""The user's document, kept whole."""

from __future__ import annotations


class Document:
    """Holds the tree a piece was read from."""
