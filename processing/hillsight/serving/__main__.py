"""``python -m hillsight.serving INPUTS OUTPUTS [URL]`` prints a configuration for pygeoapi."""

from __future__ import annotations

import sys
from pathlib import Path

from hillsight.errors import HillsightError


def main() -> None:
    """Print it; exit code 2 if it cannot be made."""
    if len(sys.argv) not in (3, 4):
        sys.exit("hillsight: give the folder of inputs, the folder of outputs and, if you like, the address.")
    from hillsight.serving.configuration import configuration

    try:
        made = configuration(Path(sys.argv[1]), Path(sys.argv[2]), **_url(sys.argv[3:]))
    except HillsightError as error:
        print(f"hillsight: {error}", file=sys.stderr)
        sys.exit(error.exit_code)
    import yaml

    yaml.safe_dump(made, sys.stdout, sort_keys=False, allow_unicode=True)


def _url(words: list[str]) -> dict[str, str]:
    return {"url": words[0].rstrip("/")} if words else {}


if __name__ == "__main__":
    main()
