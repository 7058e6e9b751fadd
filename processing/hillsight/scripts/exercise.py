"""hillsight exercise: photograph-and-map exercises, found, checked and made into sheets."""

from __future__ import annotations

import click

from hillsight.scripts.script_group import ScriptGroup


class ExerciseGroup(ScriptGroup):
    """Scripts registered for exercises."""

    holder = "exercise"


@click.group("exercise", cls=ExerciseGroup, context_settings={"help_option_names": ["-h", "--help"]})
def command() -> None:
    """Set photograph-and-map exercises: from which of these places was the picture taken?

    Each script works on an exercise file (TOML): a picture, the place it was taken from, and places that
    it might be taken for. Run `hillsight exercise SCRIPT --help` for its options.
    """


if __name__ == "__main__":
    command()
