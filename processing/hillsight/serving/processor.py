"""One processor for all scripts: its description is what ``--describe`` prints, its work a script's run."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from http import HTTPStatus
from pathlib import Path
from typing import Any

from pygeoapi.process.base import BaseProcessor, ProcessorExecuteError

from hillsight import plugins
from hillsight.errors import CallError, HillsightError
from hillsight.serving.child import BusyError, FaultError, run_script
from hillsight.serving.description import served_description
from hillsight.serving.settings import Settings
from hillsight.serving.wanted import handed_back, wanted_outputs
from hillsight.serving.words import command_words


class RequestRefusedError(ProcessorExecuteError):  # type: ignore[misc, unused-ignore]
    """What a request asks for cannot be done; the message says why and what to do."""

    ogc_exception_code = "InvalidParameterValue"
    http_status_code = HTTPStatus.BAD_REQUEST


class JobFaultError(ProcessorExecuteError):  # type: ignore[misc, unused-ignore]
    """A job has failed by a fault of ours or of the machine."""

    ogc_exception_code = "NoApplicableCode"
    http_status_code = HTTPStatus.INTERNAL_SERVER_ERROR


class BusyServerError(JobFaultError):
    """Too many jobs run already."""

    http_status_code = HTTPStatus.SERVICE_UNAVAILABLE


class ScriptProcessor(BaseProcessor):  # type: ignore[misc, unused-ignore]
    """A script as a process.

    Its entry in pygeoapi's configuration has ``script``, as ``hillsight`` lists it, and ``settings``, of
    :class:`hillsight.serving.settings.Settings`.
    """

    def __init__(self, processor_def: dict[str, Any]) -> None:
        """As pygeoapi calls it.

        Raises
        ------
        HillsightError : no such script, or wrong settings
        """
        self.script = str(processor_def.get("script"))
        point = plugins.runnable().get(self.script)
        if point is None:
            raise CallError(f"the server is to serve {self.script!r}, and there is no such script")
        self.command = plugins.load(point)
        self.settings = Settings.of(processor_def.get("settings") or {})
        super().__init__(processor_def, served_description(self.script, self.command))
        self.supports_outputs = True
        self.job = ""
        #: By what fault the job has failed; pygeoapi tells the manager only that it has.
        self.fault: JobFaultError | None = None

    def set_job_id(self, job_id: str) -> None:
        """By which a running job can be ended."""
        self.job = job_id

    def execute(self, data: Any, outputs: Any = None) -> tuple[str, Any]:
        """Run the script on a request's inputs; media type and content of what it made.

        Raises
        ------
        RequestRefusedError : with the message that the script gives on the command line
        JobFaultError : it broke, or the server is busy
        """
        try:
            with tempfile.TemporaryDirectory(prefix="hillsight-", dir=self.settings.outputs) as folder:
                return self._done(data, outputs, Path(folder).resolve())
        except FaultError as error:
            kind = BusyServerError if isinstance(error, BusyError) else JobFaultError
            self.fault = kind(str(error), user_msg=str(error))
            raise self.fault from error
        except HillsightError as error:
            raise RequestRefusedError(str(error), user_msg=str(error)) from error
        except Exception as error:
            said = "the server has failed at this job. Whoever runs it finds the cause in its log."
            self.fault = JobFaultError(said, user_msg=said)
            raise self.fault from error

    def _done(self, data: Any, outputs: Any, scratch: Path) -> tuple[str, Any]:
        options = [option for option in self.command.params if option.expose_value]
        described: Mapping[str, Any] = self.metadata["outputs"]
        made, brought = scratch / "made", scratch / "brought"
        made.mkdir()
        brought.mkdir()
        wanted = wanted_outputs(self.script, options, described, outputs, made)
        words = command_words(self.script, options, data, self.settings.inputs, brought)
        to_write = [word for one in wanted for word in one.words]
        printed = run_script([*self.script.split(), *to_write, *words], self.job, made, self.settings)
        size = sum(path.stat().st_size for path in made.rglob("*") if path.is_file())
        if size > self.settings.megabytes * 1e6:
            raise CallError(
                f"the outputs hold {size / 1e6:,.0f} MB, and this server hands back at most "
                f"{self.settings.megabytes:,.0f} MB",
                remedy="Ask for less: a shorter reach, fewer places",
            )
        kept = [one for one in wanted if not outputs or one.name in outputs]
        return handed_back(kept, printed)
