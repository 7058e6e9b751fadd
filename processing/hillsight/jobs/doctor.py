"""What is installed, what would fail, and the cure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from hillsight.ground.libraries import settled
from hillsight.jobs.checkup import check_up

if TYPE_CHECKING:
    from hillsight.jobs.checkup import Finding


@dataclass(frozen=True)
class Checkup:
    """Findings about the installation, one a check."""

    findings: tuple[Finding, ...]

    @property
    def is_well(self) -> bool:
        """Whether every check passed."""
        return all(finding.good for finding in self.findings)

    @property
    def lines(self) -> tuple[str, ...]:
        """The report: a line a finding, its cure below it where it needs one, and the sum of it."""
        lines = []
        for finding in self.findings:
            lines.append(f"{'ok  ' if finding.good else 'FAIL'}  {finding.subject}: {finding.found}")
            if not finding.good and finding.cure:
                lines.append(f"      cure: {finding.cure}.")
        failed = sum(not finding.good for finding in self.findings)
        lines.append("All is well." if not failed else f"{failed} of {len(self.findings)} checks failed.")
        return tuple(lines)


def doctor(*, mend: bool = False) -> Checkup:
    """Check the installation: libraries, GDAL and PROJ data, compiled kernels, styles, scripts.

    What the command line sets aside of other installations' settings is left alone from Python.

    Parameters
    ----------
    mend : whether damaged files of compiled code are removed, so that they are made anew
    """
    return Checkup(tuple(check_up(settled(), mend=mend)))
