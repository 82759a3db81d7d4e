"""The launcher's decisions, with pretended tools: what is installed when, what is said where, what survives trouble.

Only the programs that would change the machine or take minutes are pretended (Python, pip, apt-get, sudo, id); the
script itself and the shell are the real ones. ``tests/fresh_root.sh`` runs the same script with nothing pretended.
"""

import os
import shutil
import signal
import subprocess
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
TOOLS = "cat cksum date dirname env grep ldconfig ln mkdir mv readlink rm rmdir sed sleep tail touch uname".split()

PYTHON = """#!/bin/sh
# Stands for Python: what there is, is what files there are in $FAKE.
case "$1 $2" in "-m "*) echo "python $*" >>"$FAKE/calls" ;; esac
case "$1 $2" in
    "-c import sys; sys.exit"*) [ ! -e "$FAKE/old" ] ;;
    "-c import ensurepip"*) [ -e "$FAKE/ensurepip" ] ;;
    "-c import os, sys"*) echo "$FAKE/bin/python3" ;;
    "-c "*python%d*) echo python3.12-venv ;;
    "-c "*sys.version.split*) echo "Python 3.10.12" ;;
    "-c "*) : ;;
    "- ") cat >"$FAKE/null"; [ -e "$FAKE/library" ] ;;
    "-V ") echo "Python 3.12.3" ;;
    "-m venv") mkdir -p "$3/bin"; cp "$FAKE/bin/python3" "$3/bin/python" ;;
    "-m pip") [ ! -e "$FAKE/slow" ] || sleep 0.4; echo "pip says"; [ ! -e "$FAKE/offline" ] ;;
    *) echo "ran: $*, in $PWD" ;;
esac
"""

APT = """#!/bin/sh
echo "apt-get $*, $DEBIAN_FRONTEND" >>"$FAKE/calls"
case "$*" in
    *install*)
        [ ! -e "$FAKE/offline" ] || exit 100
        case "$*" in *libngspice0*) touch "$FAKE/library" ;; esac
        case "$*" in *-venv*) touch "$FAKE/ensurepip" ;; esac
        case "$*" in *ngspice) cp "$FAKE/bin/sudo.off" "$FAKE/bin/ngspice" ;; esac
        ;;
esac
"""

SUDO = """#!/bin/sh
echo "sudo $*" >>"$FAKE/calls"
exec "$@"
"""


class Machine:
    """A checkout and a machine around it, on which programs and libraries can be there or not."""

    def __init__(self, folder):
        self.folder = folder
        self.fake = folder / "fake"
        self.checkout = folder / "check out"  # a blank in the path must not matter
        (self.fake / "bin").mkdir(parents=True)
        self.checkout.mkdir()
        for name in ("bandfloor", "requirements.lock", "requirements-dev.lock", "pyproject.toml", "setup.py"):
            shutil.copy2(ROOT / name, self.checkout)
        for tool in [*TOOLS, "cp"]:
            path = shutil.which(tool, path=os.environ["PATH"] + ":/usr/sbin:/sbin")
            if path:
                (self.fake / "bin" / tool).symlink_to(path)
        self.program("python3", PYTHON)
        self.program("id", "#!/bin/sh\necho ${FAKE_UID:-0}\n")
        self.program("sudo.off", SUDO)
        self.there("ensurepip", "library")

    def program(self, name, text):
        """Put a program on the path."""
        path = self.fake / "bin" / name
        path.write_text(text)
        path.chmod(0o755)

    def there(self, *names):
        """Let these be there from now on."""
        for name in names:
            (self.fake / name).touch()

    def gone(self, *names):
        """Let these be there no longer."""
        for name in names:
            (self.fake / name).unlink()

    def environment(self, **more):
        """Only what the launcher needs; the library counts as seen, so that this machine's own does not matter."""
        return {"PATH": str(self.fake / "bin"), "FAKE": str(self.fake), "NGSPICE_LIBRARY_PATH": "lib.so"} | more

    def start(self, *words, cwd=None, **environment):
        """Start the launcher and do not wait."""
        return subprocess.Popen(
            [self.checkout / "bandfloor", *words],
            cwd=cwd or self.folder,
            env=self.environment(**environment),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )

    def run(self, *words, **more):
        """Start the launcher and wait: exit status, stdout, stderr."""
        process = self.start(*words, **more)
        out, err = process.communicate(timeout=30)
        return process.returncode, out, err

    def calls(self, start=""):
        """Calls of pretended programs since last asked, those that begin so."""
        path = self.fake / "calls"
        lines = path.read_text().splitlines() if path.exists() else []
        path.unlink(missing_ok=True)
        return [line for line in lines if line.startswith(start)]

    @property
    def venv(self):
        """Folder of the virtual environment."""
        return self.checkout / ".venv"


@pytest.fixture
def machine(tmp_path):
    """A machine that has all, with nothing set up yet."""
    return Machine(tmp_path)


def test_first_start_sets_up_and_then_is_the_command(machine):
    """The first start makes the environment in the pinned versions, and hands every word on unchanged."""
    status, out, err = machine.run("list", "op amps", "--json")
    assert (status, out) == (0, f"ran: -m sim.cli list op amps --json, in {machine.folder}\n")
    options = "--no-input --disable-pip-version-check --use-pep517 --no-build-isolation"
    assert machine.calls()[:4] == [
        f"python -m venv {machine.venv}",
        f"python -m pip install {options} setuptools==80.10.2",
        f"python -m pip install {options} -r {machine.checkout}/requirements.lock",
        f"python -m pip install {options} --no-deps --editable {machine.checkout}",
    ]
    assert all(line.startswith("bandfloor: ") for line in err.splitlines())


def test_second_start_does_nothing_but_the_command(machine):
    """Once set up, a start says nothing, installs nothing and starts no other program than the command."""
    machine.run("list")
    machine.calls()
    status, out, err = machine.run("list")
    assert (status, err) == (0, "")
    assert machine.calls() == ["python -m sim.cli list"]


def test_demo_is_the_main_job(machine):
    """Demo runs the marsh study wherever it is called from, with further options handed on."""
    _, out, _ = machine.run("demo", "--units", "40")
    study = machine.checkout / "studies/marsh-square.toml"
    assert out == f"ran: -m sim.cli run {study} --units 40, in {machine.folder}\n"
    _, out, _ = machine.run("demo", cwd=machine.checkout)
    assert out == f"ran: -m sim.cli run studies/marsh-square.toml, in {machine.checkout}\n"


def test_test_adds_the_test_tools_once(machine):
    """Test installs its tools on first use only, and hands options to pytest."""
    machine.program("ngspice", "#!/bin/sh\n")
    machine.run("list")
    machine.calls()
    status, out, err = machine.run("test", "-k", "this or that")
    assert (status, out) == (0, f"ran: -m pytest -n 2 -k this or that, in {machine.checkout}\n")
    assert [line.split()[-1] for line in machine.calls("python -m pip")] == ["out/requirements-dev.lock"]
    machine.run("test")
    assert machine.calls() == ["python -m pytest -n 2"]


def test_new_requirements_are_installed_into_the_same_environment(machine):
    """Another lock file brings the environment up to date, without making it anew."""
    machine.run("list")
    machine.calls()
    with open(machine.checkout / "requirements.lock", "a") as file:
        file.write("another==1.0\n")
    machine.run("list")
    calls = machine.calls()
    assert [line.split()[2] for line in calls] == ["pip", "pip", "pip", "sim.cli"]
    machine.run("list")
    assert machine.calls() == ["python -m sim.cli list"]


def test_moved_checkout_gets_a_new_environment(machine):
    """An environment that was made elsewhere is made anew: its paths are wrong."""
    machine.run("list")
    machine.calls()
    machine.checkout = machine.checkout.rename(machine.folder / "elsewhere")
    machine.run("list")
    assert machine.calls("python -m venv") == [f"python -m venv {machine.venv}"]


def test_environment_whose_python_went_away_is_made_anew(machine):
    """After the system moved on to another Python the environment's is a dead link."""
    machine.run("list")
    machine.calls()
    (machine.venv / "bin/python").unlink()
    (machine.venv / "bin/python").symlink_to("/nowhere/python3.11")
    assert machine.run("list")[0] == 0
    assert len(machine.calls("python -m venv")) == 1


def test_failed_installation_is_said_and_made_good(machine):
    """Without network the start fails with the installer's own words; the next one begins from nothing."""
    machine.there("offline")
    status, out, err = machine.run("list")
    assert (status, out) == (1, "")
    assert err.splitlines()[-3:] == [
        f"bandfloor: last lines of {machine.venv}.log:",
        "  | pip says",
        "bandfloor: installing the Python packages failed (setuptools). "
        "Once that is mended (is there a network?), start again.",
    ]
    machine.gone("offline")
    machine.calls()
    assert machine.run("list")[0] == 0
    assert len(machine.calls("python -m venv")) == 1


@pytest.mark.parametrize("blow", [signal.SIGTERM, signal.SIGINT, signal.SIGKILL])
def test_interrupted_installation_is_made_good(machine, blow):
    """However the first start ends before its time, the next one makes the environment anew and runs."""
    machine.there("slow")
    process = machine.start("list")
    while not (machine.venv / "bin/python").exists():
        time.sleep(0.02)
    process.send_signal(blow)
    out, _ = process.communicate(timeout=30)
    assert (process.returncode != 0, out) == (True, "")
    machine.calls()
    status, out, err = machine.run("list")
    assert (status, out) == (0, f"ran: -m sim.cli list, in {machine.folder}\n")
    assert len(machine.calls("python -m venv")) == 1
    assert not Path(f"{machine.venv}.lock").exists()


def test_two_starts_at_once_set_up_once(machine):
    """Of several first starts one sets up; the others wait for it, and all run."""
    machine.there("slow")
    processes = [machine.start("list", str(i)) for i in range(3)]
    ends = [process.communicate(timeout=60) for process in processes]
    assert [process.returncode for process in processes] == [0, 0, 0]
    assert [out for out, _ in ends] == [f"ran: -m sim.cli list {i}, in {machine.folder}\n" for i in range(3)]
    assert sum("another start is setting up" in err for _, err in ends) == 2
    assert len(machine.calls("python -m venv")) == 1


def test_foreign_environment_is_left_alone(machine):
    """A .venv that somebody else made is not deleted."""
    (machine.venv / "bin").mkdir(parents=True)
    (machine.venv / "precious").touch()
    status, _, err = machine.run("list")
    assert status == 1
    assert err == (
        f"bandfloor: {machine.venv} is there but was not made by this script.\n"
        f"  Move it away, or name another folder: BANDFLOOR_VENV=DIR {machine.checkout}/bandfloor\n"
    )
    assert (machine.venv / "precious").exists()
    assert machine.run("list", BANDFLOOR_VENV=str(machine.folder / "mine"))[0] == 0
    assert (machine.folder / "mine/bin/python").exists()


def test_root_gets_what_is_missing_from_apt(machine):
    """On Debian, root's first start installs exactly what is missing, asking no questions."""
    machine.gone("ensurepip", "library")
    machine.program("apt-get", APT)
    status, out, err = machine.run("test", NGSPICE_LIBRARY_PATH="")
    assert status == 0
    options = "-q -y -o DPkg::Lock::Timeout=300"
    assert machine.calls("apt-get") == [
        f"apt-get {options} update, noninteractive",
        f"apt-get {options} install --no-install-recommends python3.12-venv libngspice0 ngspice, noninteractive",
    ]
    assert err.splitlines()[0] == "bandfloor: installing with apt-get: python3.12-venv libngspice0 ngspice"


def test_others_use_sudo(machine):
    """Who is not root installs through sudo where there is one."""
    machine.gone("ensurepip")
    machine.program("apt-get", APT)
    machine.program("sudo", SUDO)
    assert machine.run("list", FAKE_UID="1000")[0] == 0
    assert [line.rsplit(" ", 1)[1] for line in machine.calls("sudo env DEBIAN_FRONTEND=noninteractive")] == [
        "update",
        "python3.12-venv",
    ]


def test_without_root_the_command_to_type_is_said(machine):
    """Where nothing may be installed, the message is the command that does it."""
    machine.gone("ensurepip")
    machine.program("apt-get", APT)
    status, out, err = machine.run("list", FAKE_UID="1000")
    assert (status, out) == (1, "")
    assert err == (
        "bandfloor: missing: python3.12-venv. Only root can install them. As root type:\n"
        "  apt-get update && apt-get install -y python3.12-venv\n"
    )
    assert machine.calls() == []


def test_apt_that_fails_is_said(machine):
    """When apt-get cannot, the start ends with the command to type."""
    machine.gone("ensurepip")
    machine.there("offline")
    machine.program("apt-get", APT)
    status, _, err = machine.run("list")
    assert status == 1
    assert err.endswith(
        "bandfloor: apt-get could not install what is missing. Once that is mended, start again, or type:\n"
        "  apt-get update && apt-get install -y python3.12-venv\n"
    )


def test_other_systems_are_told_in_one_message(machine):
    """Without apt-get all that is missing is named at once."""
    machine.gone("ensurepip", "library")
    status, out, err = machine.run("test", NGSPICE_LIBRARY_PATH="")
    assert (status, out) == (1, "")
    assert err == (
        "bandfloor: this system has no apt-get; please install by its own means what is missing, then start again:\n"
        f"  - Python's venv module with ensurepip, for {machine.fake}/bin/python3\n"
        "  - ngspice as a shared library (Fedora, Homebrew: libngspice; Arch: ngspice);\n"
        "    if it is there but not found, set NGSPICE_LIBRARY_PATH to the file's full path\n"
        "  - the ngspice command (the tests compare with it)\n"
    )


def test_named_library_must_load(machine):
    """A library that was named but cannot be loaded is said, not replaced."""
    machine.gone("library")
    machine.program("apt-get", APT)
    status, _, err = machine.run("list", NGSPICE_LIBRARY_PATH="/opt/libngspice.so")
    assert status == 1
    assert err == (
        'bandfloor: NGSPICE_LIBRARY_PATH is "/opt/libngspice.so", which cannot be loaded. Correct it, or unset it.\n'
    )


def test_old_python_is_said(machine):
    """A Python that is too old is named, with what would do."""
    machine.there("old")
    status, _, err = machine.run("list")
    assert status == 1
    assert err == (
        "bandfloor: needs Python 3.11, 3.12 or 3.13, but python3 is Python 3.10.12, "
        "and none of python3.13, python3.12, python3.11 fits.\n"
        "  Install one with its venv module, or name one that is there: "
        f"BANDFLOOR_PYTHON=FILE {machine.checkout}/bandfloor\n"
    )


def test_newer_python_beside_an_old_one_is_found(machine):
    """Where python3 is too old, a fitting one under its full name is taken."""
    machine.program("python3", PYTHON.replace('[ ! -e "$FAKE/old" ]', "false"))
    machine.program("python3.12", PYTHON.replace("$FAKE/bin/python3", "$FAKE/bin/python3.12"))
    assert machine.run("list")[0] == 0
    made = (machine.venv / "bin/python").read_text()
    assert "python3.12" in made and "false" not in made


def test_named_python_is_the_only_one_tried(machine):
    """Who names a Python gets that one, or is told why not."""
    machine.program("other", PYTHON.replace('[ ! -e "$FAKE/old" ]', "false"))
    status, _, err = machine.run("list", BANDFLOOR_PYTHON="other")
    assert status == 1
    assert err.startswith("bandfloor: needs Python 3.11, 3.12 or 3.13, but other is Python 3.10.12.\n")
    machine.program("other", PYTHON.replace("$FAKE/bin/python3", "$FAKE/bin/other"))
    assert machine.run("list", BANDFLOOR_PYTHON="other")[0] == 0
    assert "bin/other" in (machine.venv / "bin/python").read_text()
