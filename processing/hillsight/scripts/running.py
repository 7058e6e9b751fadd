"""What every script does around its own work: settle libraries, turn errors into exits, describe itself."""

from __future__ import annotations

import _thread
import atexit
import functools
import gc
import json
import os
import signal
import sys
import threading
import traceback
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, nullcontext, suppress
from pathlib import Path
from types import FrameType, TracebackType
from typing import Any, NoReturn

import click

from hillsight import __version__
from hillsight.errors import HillsightError
from hillsight.ground.libraries import settle_libraries
from hillsight.ground.network import network_allowed
from hillsight.words.marks import marks_shown

#: Exit codes: done, a fault of hillsight, bad input or call, done but a check failed, stopped from outside.
DONE, BUG, BAD_INPUT, UNDECIDED, STOPPED = 0, 1, 2, 3, 130

#: After so many new objects the interpreter looks for those that nothing holds any more.
_NEW_OBJECTS = 20_000

#: Signals that ask a run to stop.
_STOPS = tuple(
    getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK") if hasattr(signal, name)
)
#: Where the command notes that requests to a network are allowed.
_NETWORK = "hillsight.allow_network"

_STOPPED_TEXT = "stopped. What was not finished is not written: older files of those names are as they were."


class OneLineErrors(click.Command):
    """A command whose wrong calls, as all its other errors, end in one line and an exit code.

    click's own way is a usage text of several lines, exit code 1 for Ctrl-C, and a complaint of the
    interpreter when the reader of a pipe has gone.

    by_station : where a script's work is done station by station, the function that does it, as
        "module:function"; else empty
    described : its OGC API process description; None where it has none
    """

    by_station: str = ""
    described: Callable[[], dict[str, Any]] | None = None

    def __call__(self, *args: Any, **kwargs: Any) -> Any:
        """As a process of its own: a stop before or after the work is met as one within it."""
        if threading.current_thread() is threading.main_thread():
            atexit.register(_ignore_interrupts)
            for number in _STOPS:
                if signal.getsignal(number) in (signal.SIG_DFL, signal.default_int_handler):
                    signal.signal(number, _stop)
        return super().__call__(*args, **kwargs)

    def main(  # type: ignore[override, unused-ignore]
        self,
        args: Sequence[str] | None = None,
        prog_name: str | None = None,
        complete_var: str | None = None,
        standalone_mode: bool = True,
        **extra: Any,
    ) -> Any:
        """Run from the command line; ends the process unless ``standalone_mode`` is off."""
        if not standalone_mode:
            return super().main(args, prog_name, complete_var, standalone_mode=False, **extra)
        stdout = sys.stdout
        # Libraries bring hundreds of thousands of objects that stay: looking them through each time that 700
        # more were made is a twentieth of a short run.
        gc.set_threshold(_NEW_OBJECTS)
        try:
            _settle_streams()
            stdout = sys.stdout
            code = super().main(args, prog_name, complete_var, standalone_mode=False, **extra)
        except click.ClickException as error:
            if type(error).__name__ == "NoArgsIsHelpError":  # not in click 8.1, which shows the help itself
                error.show()
                sys.exit(BAD_INPUT)
            _fail(_wrong_call(error), BAD_INPUT)
        except (click.Abort, KeyboardInterrupt, EOFError):
            _fail(_STOPPED_TEXT, STOPPED)
        except OSError as error:
            _fail(_not_printed(error), BAD_INPUT)
        except SystemExit:
            if (
                sys.stdout is not stdout
            ):  # click's sign, with exit code 1, that the reader of its help has gone
                sys.exit(DONE)
            raise
        finally:
            if signal.getsignal(signal.SIGTERM) is _stop:
                _ignore_interrupts()
            _let_go_of_closed_pipes()
        sys.exit(code if isinstance(code, int) else DONE)


def _stop(number: int, frame: FrameType | None) -> None:
    if not sys.is_finalizing():
        raise KeyboardInterrupt(f"stopped by {signal.Signals(number).name}")


def _ignore_interrupts() -> None:
    """At the interpreter's end all files are whole: a stop could only draw complaints of what goes down."""
    for number in _STOPS:
        signal.signal(number, signal.SIG_IGN)


def _settle_streams() -> None:
    """Streams that can be printed to: none is missing, and a letter they lack is written as its number."""
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None:
            setattr(sys, name, Path(os.devnull).open("w", encoding="utf-8"))  # noqa: SIM115 - until the end
        elif getattr(stream, "errors", None) in ("strict", "surrogateescape"):
            with suppress(AttributeError, ValueError, OSError):
                stream.reconfigure(errors="backslashreplace")


def _not_printed(error: OSError) -> str:
    return (
        f"what is to be printed cannot be written ({error.strerror or error}). "
        "Send it elsewhere: files that were written are whole."
    )


def _wrong_call(error: click.ClickException) -> str:
    text = error.format_message()
    if not text.endswith((".", "?", "!")):
        text = f"{text}."
    context = getattr(error, "ctx", None)
    return f"{text} See: {context.command_path} --help" if context is not None else text


def script(
    name: str, *, title: str, outputs: dict[str, str], reads_files: bool = True, by_station: str = ""
) -> Callable[[Callable[..., None]], click.Command]:
    """Make a function into a standalone script.

    Parameters
    ----------
    name : the script's name on the command line
    title : one clause for the machine-readable description
    outputs : what it writes, by option or stream: media type and meaning as ``type; meaning``
    reads_files : whether it reads files that may name addresses on a network
    by_station : function that does its work, as "module:function", where what it finds of one station hangs
        on no other: a batch may share stations out. Its parameters are named like the options, and it writes
        a GeoPackage to ``out``
    """

    def decorate(function: Callable[..., None]) -> click.Command:
        @functools.wraps(function)
        def guarded(**arguments: Any) -> None:
            _run(function, arguments)

        command = click.command(
            name, cls=OneLineErrors, context_settings={"help_option_names": ["-h", "--help"]}
        )(guarded)

        def described() -> dict[str, Any]:
            from hillsight.scripts.process_description import process_description

            return process_description(command, title=title, outputs=outputs, version=__version__)

        def describe(ctx: click.Context, _: click.Parameter, wanted: bool) -> None:
            if wanted and not ctx.resilient_parsing:
                click.echo(json.dumps(described(), indent=2))
                ctx.exit()

        command.by_station, command.described = by_station, described

        if reads_files:
            command.params.append(
                click.Option(
                    ["--allow-network"],
                    is_flag=True,
                    expose_value=False,
                    callback=_allow_network,
                    help="Follow addresses on a network that files name; without it such files are refused.",
                )
            )
        command.params.append(
            click.Option(
                ["--describe"],
                is_flag=True,
                is_eager=True,
                expose_value=False,
                callback=describe,
                help="Print an OGC API process description (JSON) and stop.",
            )
        )
        return command

    return decorate


def _allow_network(ctx: click.Context, _: click.Parameter, wanted: bool) -> None:
    ctx.meta[_NETWORK] = wanted


def _run(function: Callable[..., None], arguments: dict[str, Any]) -> None:
    """Run a script's work; every expected failure ends in one line and its exit code."""
    from hillsight.layers.atomic import disk_trouble
    from hillsight.layers.provenance import written_at
    from hillsight.layers.stops import StopRequest, stop_signals

    stop = StopRequest()
    try:
        asked = click.get_current_context().meta.get(_NETWORK, False)
        with stop_signals() as stop, _interrupts_reach_us(), network_allowed() if asked else nullcontext():
            settle_libraries()
            written_at()  # refuses a time set for it that is none, before the work
            function(**arguments)
    except HillsightError as error:
        if stop.asked:
            _fail(_STOPPED_TEXT, STOPPED)
        _fail(with_options(error, click.get_current_context().command), error.exit_code)
    except KeyboardInterrupt:
        _fail(_STOPPED_TEXT, STOPPED)
    except BrokenPipeError:  # whoever read the output has gone; files are written before anything is printed
        sys.exit(DONE)
    except OSError as error:
        if stop.asked:
            _fail(_STOPPED_TEXT, STOPPED)
        if disk_trouble(error) is None:
            _fault(error)
        _fail(_not_printed(error), BAD_INPUT)
    except MemoryError:
        known = {param.name for param in click.get_current_context().command.params}
        less = " a shorter --reach or" if "reach" in known else ""
        _fail(f"not enough memory. Give{less} coarser terrain, or a smaller piece of it.", BAD_INPUT)
    except (click.exceptions.Exit, click.ClickException, SystemExit):
        raise
    except Exception as error:
        if stop.asked:  # a library answered the stop with an error of its own
            _fail(_STOPPED_TEXT, STOPPED)
        _fault(error)


def _fault(error: Exception) -> NoReturn:
    traceback.print_exc()
    _fail(
        f"this is a fault of hillsight, not of your data: {type(error).__name__}: {error}. "
        "Please report it with the lines above.",
        BUG,
    )


def with_options(error: HillsightError, command: click.Command) -> str:
    """The error's text, with the options of a command that give the parameters it is about.

    A parameter that the command has no option for is left out.
    """
    options = {param.name: param for param in command.params if isinstance(param, click.Option)}
    named = []
    for name in error.parameters:
        if (option := options.get(name)) is not None:
            metavar = "" if option.is_flag else f" {option.metavar or option.type.name.upper()}"
            named.append(f"{option.opts[-1]}{metavar}")
    return f"{str(error)[:-1]} ({', '.join(named)})." if named else str(error)


@contextmanager
def _interrupts_reach_us() -> Iterator[None]:
    """Send Ctrl-C again where it was lost.

    Raised while a library written in C calls back into Python (PROJ's log, a destructor), it cannot pass
    through: Python prints a traceback and goes on as if nothing had been asked.
    """
    unraisable, uncaught = sys.unraisablehook, sys.excepthook

    def lost(event: sys.UnraisableHookArgs) -> None:
        if issubclass(event.exc_type, UnicodeDecodeError):
            return  # a library's log met a damaged name; the error that it is of comes by itself
        if not issubclass(event.exc_type, KeyboardInterrupt):
            unraisable(event)
            return
        again = threading.Timer(0.02, _thread.interrupt_main)
        again.daemon = True
        again.start()

    def printed(kind: type[BaseException], error: BaseException, trace: TracebackType | None) -> None:
        if not issubclass(kind, KeyboardInterrupt | UnicodeDecodeError):
            uncaught(kind, error, trace)

    sys.unraisablehook, sys.excepthook = lost, printed
    try:
        yield
    finally:
        sys.unraisablehook, sys.excepthook = unraisable, uncaught


def one_line(text: str, *, tidy: bool = True) -> str:
    """The text without line breaks; signs that act, which names and paths may hold, become their numbers.

    tidy : whether runs of spaces become one
    """
    plain = "".join(c if c.isprintable() else " " for c in marks_shown(text))
    return " ".join(plain.split()) if tidy else plain


def show(text: str) -> None:
    """Lines on the standard output."""
    click.echo("\n".join(one_line(line, tidy=False) for line in text.split("\n")))


def say(text: str) -> None:
    """One line on the error stream; work goes on if nobody reads it."""
    try:
        click.echo(one_line(text), err=True)
    except OSError:
        _let_go_of_closed_pipes()


def _fail(message: str, code: int) -> NoReturn:
    say(f"hillsight: {message}")
    sys.exit(code)


def _let_go_of_closed_pipes() -> None:
    """Flush what is printed; a stream that nobody reads any more leads nowhere from now on."""
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except OSError:  # nobody reads it, or its disk is full
            with suppress(OSError, ValueError):
                nowhere = os.open(os.devnull, os.O_WRONLY)
                os.dup2(nowhere, stream.fileno())
                os.close(nowhere)
        except ValueError:  # closed: nobody is left to tell
            pass
