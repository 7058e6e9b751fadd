"""What still offends against the rules of the house, in one place. These lists only get shorter.

A test fails when something new offends, and when something listed no longer does.
"""

from __future__ import annotations

#: Modules that can be reached from themselves, a group a line.
CYCLES: set[str] = set()

#: Private names taken from another module.
PRIVATE_NAMES: set[str] = set()

#: Modules below scripts whose texts name options.
OPTION_WORDS: set[str] = set()

#: Public names that nothing in the package uses.
UNUSED_NAMES: set[str] = set()

#: Libraries that are imported and not declared.
UNDECLARED: set[str] = set()

#: Scripts that do more than parse, call and report.
LONG_SCRIPTS: set[str] = set()

#: Public names that nothing in the package uses, and why they stay.
UNUSED_ON_PURPOSE = {
    "hillsight.serving.processor:ScriptProcessor": "pygeoapi finds it by the name that its configuration has",
    "hillsight.serving.manager:JobManager": "pygeoapi finds it by the name that its configuration has",
    "hillsight.ground.accuracy:LE90_SIGMAS": "how tests turn an LE90 into a standard deviation",
    "hillsight.sight.points:clearance_of_pairs": "for programs that ask by how much pairs are seen",
    "hillsight.sight.many:count_visible": "for programs with thousands of eyes; the benchmarks time it",
    "hillsight.kernels.threads:limited_to": "for programs that run several jobs side by side",
    "hillsight.plan.relocation.decision:STATES": "what the glossary is held against",
    "hillsight.sheets.exercise.packing:unpacked": "what is packed in a page is held against it",
    "hillsight.schema.frames:column_names": "what frames are held against, in the tests of every room",
}
