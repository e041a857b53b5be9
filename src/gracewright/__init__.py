"""Ornament a Baroque melody in period manner, and show why.

One sentence: a piece is studied, a plan of graces is made from the study, the plan is realised into a
version that can be read, heard, checked and taught. Data flows one way, through five values:
``Piece`` (score) → ``Study`` (study) → ``Plan`` (taste) → ``Version`` (graces) → ``Review`` (review).
"""

__version__ = "0.1.0"
