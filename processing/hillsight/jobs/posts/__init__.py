"""Marshals along a course: where they may stand, what they see, who stands where, and the sheets of it.

``run`` does what the command does: ``checks`` looks at the plan, ``course`` and ``ground`` read it,
``places`` has what can be seen from where, ``found`` what was chosen as layers, ``drawings`` the sheets and
the map.
"""
