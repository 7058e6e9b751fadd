"""A command that holds scripts: it finds those that are installed and runs the one asked for."""

from __future__ import annotations

import click

from hillsight import plugins
from hillsight.scripts.running import OneLineErrors


class ScriptGroup(OneLineErrors, click.Group):
    """Scripts by entry point; one that cannot be loaded costs a line of help, not the whole command.

    holder : the script whose own scripts they are; those of ``hillsight`` itself if None
    """

    holder: str | None = None

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names of all installed scripts, in order."""
        return list(plugins.registered(self.holder))

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The script of a name, or a stand-in that says why it cannot be loaded; None if there is none."""
        point = plugins.registered(self.holder).get(cmd_name)
        if point is None:
            return None
        try:
            command: click.Command = plugins.load(point)
        except plugins.PluginError as error:
            return _broken(cmd_name, error.what)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """As click does, with the list of scripts in the message when the name is unknown."""
        if args and self.get_command(ctx, args[0]) is None and not args[0].startswith("-"):
            raise click.UsageError(
                f"No script {args[0]!r}. There are: {', '.join(self.list_commands(ctx))}.", ctx
            )
        return super().resolve_command(ctx, args)


def _broken(name: str, why: str) -> click.Command:
    def fail() -> None:
        raise click.ClickException(f"{name} cannot be loaded ({why}). Run `hillsight doctor`.")

    return click.Command(
        name,
        callback=fail,
        short_help=f"cannot be loaded: {why}"[:80],
        # Whatever options it is given, the reason is what there is to say.
        context_settings={"ignore_unknown_options": True, "allow_extra_args": True},
    )
