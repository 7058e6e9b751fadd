"""Builds an environment for hillsight in this checkout and runs the demo or the tests in it.

    python3 processing/bootstrap.py demo
    python3 processing/bootstrap.py tests [--all] [PYTEST ARGUMENTS]
    python3 processing/bootstrap.py ci

Needs nothing but a Python (any 3.x) to start with; looks for one that is new enough for hillsight itself.
Keep it free of newer syntax and of imports outside the standard library.
"""

import glob
import hashlib
import os
import shutil
import subprocess
import sys

OLDEST = (3, 12)
# Newest first among those that all libraries have wheels for; then anything newer.
PREFERRED = ((3, 13), (3, 12), (3, 14), (3, 15))
CHECKOUT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
ENVIRONMENT = os.environ.get("HILLSIGHT_ENVIRONMENT") or os.path.join(CHECKOUT, ".venv")
# More workers than this make each test slower than they save.
MOST_WORKERS = 8
# What only some tests need, and what is said where it cannot be installed; those tests are skipped.
SPARE = {
    "peers": "The peers for some checks have no wheel for this machine",
    "batch": "The libraries for GeoParquet and STAC have no wheel for this machine",
    "cluster": "The library for clusters has no wheel for this machine",
    "serve": "The libraries of a server have no wheel for this machine",
}
SLD_PARSER = "geostyler-sld-parser@9.0.3"


def fail(message):
    sys.stderr.write("hillsight: {}\n".format(message))
    sys.exit(2)


def version_of(python):
    """(major, minor) of an interpreter that starts, else None."""
    try:
        out = subprocess.check_output(
            [python, "-c", "import sys; print(*sys.version_info[:2])"], stderr=subprocess.DEVNULL
        )
        major, minor = out.split()
        return int(major), int(minor)
    except (OSError, ValueError, subprocess.CalledProcessError):
        return None


def candidates():
    """Interpreters that may be on this machine, by name and by the usual places of version managers."""
    yield sys.executable
    for version in PREFERRED:
        found = shutil.which("python{}.{}".format(*version))
        if found:
            yield found
    home = os.path.expanduser("~")
    pyenv = os.environ.get("PYENV_ROOT") or os.path.join(home, ".pyenv")
    for pattern in (
        os.path.join(pyenv, "versions", "3.*", "bin", "python"),
        os.path.join(home, ".local", "share", "uv", "python", "cpython-3.*", "bin", "python3"),
        os.path.join(home, "AppData", "Local", "Programs", "Python", "Python3*", "python.exe"),
        "/usr/local/bin/python3.*[0-9]",
        "/opt/homebrew/bin/python3.*[0-9]",
    ):
        for found in sorted(glob.glob(pattern)):
            yield found


def installed():
    """Interpreters that are new enough, by (major, minor); the first found of each."""
    found = {}
    for python in candidates():
        version = version_of(python)
        if version and version >= OLDEST:
            found.setdefault(version, python)
    return found


def choose_python():
    """An interpreter that is new enough: the running one if it is, else the best found."""
    if sys.version_info[:2] >= OLDEST:
        return sys.executable
    found = installed()
    for version in PREFERRED:
        if version in found:
            return found[version]
    if found:
        return found[max(found)]
    return fail(
        "Python {}.{} or newer is needed, this is {}.{} and no newer one was found. "
        "Install one (for instance: apt install python3.12 python3.12-venv) and run this again.".format(
            *(OLDEST + tuple(sys.version_info[:2]))
        )
    )


def inside(name):
    """Path of a program in the environment."""
    folder = "Scripts" if os.name == "nt" else "bin"
    return os.path.join(ENVIRONMENT, folder, name + (".exe" if os.name == "nt" else ""))


def make_environment(python):
    """An empty environment with an interpreter, unless there is one with its version already."""
    if version_of(inside("python")) == version_of(python):
        return
    print("Making an environment in {} with {}".format(ENVIRONMENT, python), flush=True)
    if subprocess.call([python, "-m", "venv", "--clear", ENVIRONMENT]):
        fail(
            "the environment could not be made. On Debian and Ubuntu: apt install python{}.{}-venv".format(
                *version_of(python)
            )
        )


def build(extras):
    """Make the environment and install hillsight into it, unless that was done for this pyproject.toml."""
    with open(os.path.join(CHECKOUT, "pyproject.toml"), "rb") as file:
        stamp_text = hashlib.sha256(file.read()).hexdigest() + " " + ",".join(extras)
    stamp = os.path.join(ENVIRONMENT, "hillsight-installed")
    if os.path.exists(stamp) and (version_of(inside("python")) or (0, 0)) >= OLDEST:
        with open(stamp) as file:
            had = file.read().split(" ")
        wanted = stamp_text.split(" ")
        if had[0] == wanted[0] and set(extras) <= set(had[1].split(",")):
            return
    if (version_of(inside("python")) or (0, 0)) < OLDEST:
        make_environment(choose_python())
    print("Installing hillsight and its libraries (a minute or two the first time)", flush=True)
    pip = [inside("python"), "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
    needed = [extra for extra in extras if extra not in SPARE]
    if subprocess.call([*pip, "--editable", CHECKOUT + ("[{}]".format(",".join(needed)) if needed else "")]):
        fail("pip could not install hillsight; its message is above")
    for extra in extras:
        if extra in SPARE and subprocess.call([*pip, "--editable", "{}[{}]".format(CHECKOUT, extra)]):
            print("{}; tests that need them will be skipped.".format(SPARE[extra]))
    with open(stamp, "w") as file:
        file.write(stamp_text)


def sld_parser():
    """Environment variables that let the style checks find a second SLD reader, where npm is at hand."""
    npm = shutil.which("npm")
    folder = os.path.join(ENVIRONMENT, "npm")
    if npm and not os.path.isdir(os.path.join(folder, "node_modules")):
        os.makedirs(folder, exist_ok=True)
        quiet = ["--silent", "--no-audit", "--no-fund", "--no-save"]
        subprocess.call([npm, "install", "--prefix", folder, *quiet, SLD_PARSER])
    return {"NODE_PATH": os.path.join(folder, "node_modules")}


def run_demo(arguments):
    build([])
    output = os.path.join("demo_project", "output")
    return subprocess.call([inside("hillsight"), "demo", "--folder", output, *arguments], cwd=CHECKOUT)


def workers():
    """Options that spread the tests over the cores, a file at a time: its tests share fixtures."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return ["-n", str(min(cores, MOST_WORKERS)), "--dist", "loadfile"] if cores > 1 else []


def run_tests(arguments):
    """The quick tests; with --all first the linters and the type checker, and then every test."""
    build(["test", *SPARE])
    pytest = [inside("python"), "-m", "pytest"]
    environment = dict(os.environ)
    if "--all" in arguments:
        arguments = [a for a in arguments if a != "--all"]
        environment.update(sld_parser())
        for check in (["ruff", "check", "."], ["ruff", "format", "--check", "."], ["mypy"]):
            print("$ " + " ".join(check), flush=True)
            code = subprocess.call([inside(check[0]), *check[1:]], cwd=CHECKOUT)
            if code:
                return code
    else:
        pytest += ["-m", "not slow"]
    if not any(a.startswith(("-n", "--numprocesses", "--dist", "--pdb")) for a in arguments):
        spread = workers()
        pytest += spread
        if spread:
            # Each worker keeps to one core.
            environment.setdefault("HILLSIGHT_THREADS", "1")
    return subprocess.call([*pytest, *arguments], cwd=CHECKOUT, env=environment)


def run_ci(arguments):
    """Everything with the oldest Python that there is, then the quick tests with the newest."""
    global ENVIRONMENT
    found = installed()
    versions = sorted(version for version in found if version in PREFERRED)
    if not versions:
        fail("none of the Pythons that hillsight supports was found")
    for version in sorted({versions[0], versions[-1]}):
        print("With Python {}.{}".format(*version), flush=True)
        ENVIRONMENT = os.path.join(CHECKOUT, ".venv-{}.{}".format(*version))
        make_environment(found[version])
        code = run_tests(["--all"] if version == versions[0] else [])
        if code:
            return code
    if len(versions) == 1:
        print("No other Python that hillsight supports was found; it was tested with one only.")
    return 0


def main():
    runs = {"demo": run_demo, "tests": run_tests, "ci": run_ci}
    if len(sys.argv) < 2 or sys.argv[1] not in runs:
        fail("say what to run: python3 processing/bootstrap.py demo, or ... tests")
    sys.exit(runs[sys.argv[1]](sys.argv[2:]))


if __name__ == "__main__":
    main()
