"""Writes the configuration with which pygeoapi serves all scripts."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from hillsight import __version__, plugins
from hillsight.serving.description import process_id
from hillsight.serving.settings import Settings

#: What it tells of the machine is nothing for strangers.
NOT_SERVED = ("doctor",)


def served_scripts() -> list[str]:
    """Every script but the doctor, as ``hillsight`` lists it."""
    return [name for name in plugins.runnable() if name not in NOT_SERVED]


def configuration(inputs: Path, outputs: Path, *, url: str = "http://127.0.0.1:5000") -> dict[str, Any]:
    """pygeoapi's configuration, to be changed where it does not fit.

    Parameters
    ----------
    inputs : folder that requests may name files of
    outputs : folder for jobs and their results
    url : of the server, as those who ask know it

    Raises
    ------
    HillsightError : a folder is not there, or one lies within the other
    """
    settings = Settings.of({"inputs": str(inputs), "outputs": str(outputs)})
    results = settings.outputs
    # One object for all: written as YAML it stands once, and the others point to it.
    shared = {
        "inputs": str(settings.inputs),
        "outputs": str(results),
        "seconds": settings.seconds,
        "memory_gib": settings.memory_gib,
        "megabytes": settings.megabytes,
        "at_once": settings.at_once,
    }
    host, _, port = url.removeprefix("http://").removeprefix("https://").partition(":")
    return {
        "server": {
            "bind": {"host": host, "port": int(port.strip("/") or 80)},
            "url": url,
            "mimetype": "application/json; charset=UTF-8",
            "encoding": "utf-8",
            "gzip": False,
            "languages": ["en-GB"],
            "pretty_print": True,
            "limits": {"default_items": 50, "max_items": 1000},
            "map": {"url": "", "attribution": ""},
            "manager": {
                "name": "hillsight.serving.manager.JobManager",
                "connection": str(results / "jobs.db"),
                "output_dir": str(results),
            },
        },
        "logging": {"level": "ERROR"},
        "metadata": {
            "identification": {
                "title": "hillsight",
                "description": "What is seen from where on hill ground",
                "keywords": ["terrain", "visibility"],
                "keywords_type": "theme",
                "terms_of_service": "none",
                "url": url,
            },
            "license": {"name": "not stated", "url": url},
            "provider": {"name": f"hillsight {__version__}", "url": url},
            "contact": {"name": "not stated", "email": "nobody@example.org", "url": url},
        },
        "resources": {
            process_id(name): {
                "type": "process",
                "processor": {
                    "name": "hillsight.serving.processor.ScriptProcessor",
                    "script": name,
                    "settings": shared,
                },
            }
            for name in served_scripts()
        },
    }
