"""Latchline: from a chart to the needles of a domestic latch-needle bed.

The rooms, in the order of the road (a room imports only from rooms before it):

    errors → machine → chart → technique → plan → fabric → checks → link → sim → session → cli
"""

__version__ = "0.1.0"
