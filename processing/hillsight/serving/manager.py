"""Keeps pygeoapi's jobs: as its own manager in a file, but for what strangers must not have it do."""

from __future__ import annotations

import threading
from typing import Any

from pygeoapi.process.manager.tinydb_ import TinyDBManager
from pygeoapi.util import JobStatus

from hillsight.serving.child import stop
from hillsight.serving.processor import RequestRefusedError


class JobManager(TinyDBManager):  # type: ignore[misc, unused-ignore]
    """pygeoapi's manager with four changes.

    Requests name no addresses to be called when a job is done: a server would make requests for strangers.
    A job that is dismissed is ended. The processor of a request is kept by thread: in one attribute for all,
    as pygeoapi 0.24 has it, requests that come at once take each other's. A job that was waited for, and
    fails by a fault of ours, is told as that: pygeoapi has one status for all failed jobs.
    """

    def __init__(self, manager_def: dict[str, Any]) -> None:
        """As pygeoapi calls it."""
        self._own = threading.local()
        super().__init__(manager_def)
        self.supports_subscribing = False

    @property
    def processor(self) -> Any:
        """The processor of the request that this thread answers."""
        return self._own.processor

    @processor.setter
    def processor(self, value: Any) -> None:
        self._own.processor = value

    def execute_process(
        self, process_id: str, data_dict: Any, *given: Any, subscriber: Any = None, **more: Any
    ) -> Any:
        """As pygeoapi does it.

        Raises
        ------
        RequestRefusedError : it asks to be called back, or for a document, which is not made of files
        JobFaultError : the job was waited for, and broke
        """
        if subscriber is not None:
            raise RequestRefusedError(
                user_msg="this server calls nobody back. Ask for the job's status instead."
            )
        if more.get("requested_response", "raw") != "raw":
            raise RequestRefusedError(
                user_msg="this server hands outputs back as they are. Leave response out."
            )
        answer = super().execute_process(process_id, data_dict, *given, **more)
        if answer[3] == JobStatus.failed and self.processor.fault is not None:
            raise self.processor.fault
        return answer

    def delete_job(self, job_id: str) -> Any:
        """End it if it runs, and forget it and what it made."""
        stop(job_id)
        return super().delete_job(job_id)
