"""When a place counts as standing on a row or column of posts: one bound for arrays and compiled kernels.

It stands in this room because compiled code kept on disk expires when a module here changes.
"""

from __future__ import annotations

#: What is nearer than this (in post spacings) to a row or column of posts stands on it: less than rounding
#: and the change of coordinates leave uncertain.
ON_LINE = 1e-6
