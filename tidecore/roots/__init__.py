"""The one root finder: crossings, edges and extremes of a function of time.

``brackets`` works on any function or condition of time: it scans, brackets and closes in. The other modules of
the room know more about the function they are given, and use it.
"""
