"""The distribution: what the wheel holds, that the sdist builds the same, and that it drills a question anywhere.

A build fetches its back end and an installation its dependencies from the package index that pip is set up with.
"""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import tarfile
import venv
import zipfile
from pathlib import Path

import pytest

from tests.cli.form_client import FormClient, some_response, start_set
from tests.ports import free_port

pytestmark = pytest.mark.packaging

ROOT = Path(__file__).resolve().parent.parent.parent
MARKS_OF_USE = {"__pycache__", ".mypy_cache", ".ruff_cache", ".pytest_cache"}


def files_below(folder):
    """Every file below a folder that is not a by-product of running it."""
    return {
        path.relative_to(folder).as_posix(): path
        for path in folder.rglob("*")
        if path.is_file() and not MARKS_OF_USE & set(path.relative_to(folder).parts)
    }


def run(*words, **options):
    """Run a program to its end; its output is shown where it fails."""
    result = subprocess.run(words, capture_output=True, text=True, timeout=900, **options)
    assert result.returncode == 0, f"{words}\n{result.stdout}\n{result.stderr}"
    return result.stdout


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """The sdist, and the wheel that is built from it: what an index would be given."""
    folder = tmp_path_factory.mktemp("dist")
    run(sys.executable, "-m", "build", "--outdir", folder, ROOT)
    return next(folder.glob("*.tar.gz")), next(folder.glob("*.whl"))


@pytest.fixture(scope="module")
def wheel_files(built):
    """The wheel's contents by name."""
    with zipfile.ZipFile(built[1]) as wheel:
        return {name: wheel.read(name) for name in wheel.namelist()}


class TestContents:
    def test_the_wheel_holds_the_package_and_nothing_else(self, wheel_files):
        """No test, no cache, no stray folder."""
        strays = {name for name in wheel_files if not re.match(r"quizsvc/|quizsvc-[0-9.]+\.dist-info/", name)}
        package = {name.removeprefix("quizsvc/") for name in wheel_files if name.startswith("quizsvc/")}

        assert strays == set()
        assert {name for name in package if not name.startswith("_packaged/")} == set(files_below(ROOT / "quizsvc"))

    @pytest.mark.parametrize("folder", ["migrations", "question_bank"])
    def test_the_wheel_carries_the_folders_that_the_service_reads(self, wheel_files, folder):
        """Every file of migrations and bank, byte by byte, under the package."""
        prefix = f"quizsvc/_packaged/{folder}/"
        carried = {name.removeprefix(prefix): data for name, data in wheel_files.items() if name.startswith(prefix)}

        assert carried == {name: path.read_bytes() for name, path in files_below(ROOT / folder).items()}
        assert carried

    def test_the_wheel_says_its_licence_and_its_command(self, wheel_files):
        """The licence text travels along, and the command is installed."""
        about = {name.split("/", 1)[1]: data.decode() for name, data in wheel_files.items() if ".dist-info/" in name}

        assert about["licenses/LICENSE"] == (ROOT / "LICENSE").read_text()
        assert "quizsvc = quizsvc.cli.main:main" in about["entry_points.txt"]
        assert "\nLicense-Expression: Apache-2.0\n" in about["METADATA"]

    def test_the_sdist_builds_what_the_checkout_builds(self, built, wheel_files, tmp_path):
        """The wheel above came out of the sdist; one built from the checkout holds the same bytes."""
        run(sys.executable, "-m", "build", "--wheel", "--outdir", tmp_path, ROOT)
        with zipfile.ZipFile(next(tmp_path.glob("*.whl"))) as wheel:
            from_checkout = {name: wheel.read(name) for name in wheel.namelist()}

        assert from_checkout == wheel_files

    def test_the_sdist_carries_the_tests(self, built):
        """Who packages the service for others can run its tests."""
        with tarfile.open(built[0]) as sdist:
            names = {name.split("/", 1)[1] for name in sdist.getnames() if "/" in name}

        assert {"tests/run", "tests/test_settings.py", "DEVELOPERS.md", "LICENSE", "pyproject.toml"} <= names
        assert not [name for name in names if MARKS_OF_USE & set(name.split("/")) or name.startswith(".venv")]


@pytest.fixture(scope="module")
def installed(built, tmp_path_factory):
    """The wheel in an environment of its own, without extras; returns the program and an empty home."""
    folder = tmp_path_factory.mktemp("installed")
    venv.create(folder / "env", with_pip=True)
    run(folder / "env/bin/python", "-m", "pip", "install", "-q", built[1], cwd=folder)
    (folder / "home").mkdir()
    return folder / "env/bin/quizsvc", folder / "home"


@pytest.fixture
def elsewhere(installed, tmp_path):
    """What the installed program runs with: its home, and a folder that is not the checkout."""
    return {"env": {"HOME": str(installed[1]), "PATH": os.environ["PATH"]}, "cwd": tmp_path}


class TestInstalled:
    def test_it_is_the_installed_package_that_runs(self, installed, elsewhere):
        """Bank and migrations are those inside the environment, not the checkout's."""
        code = "from quizsvc import settings; print(settings.question_bank_folder(), settings.migrations_folder())"
        folders = run(installed[0].with_name("python"), "-c", code, **elsewhere).split()

        assert [Path(folder).name for folder in folders] == ["question_bank", "migrations"]
        assert all(Path(folder).is_relative_to(installed[0].parent.parent) for folder in folders)

    def test_compute_answers(self, installed, elsewhere):
        """Cabin altitude at 39,000 ft with 8.7 psi: 6,506 ft within 1 by the published standard atmosphere.

        Source: ISO 2533 by way of two independent implementations; see tests/reference.
        """
        typed = "cabin_altitude(39000*ft, 8.7*psi)"
        printed = run(installed[0], "compute", typed, "--unit", "ft", **elsewhere)

        assert abs(int(printed.removesuffix(" ft\n").replace(",", "")) - 6506) <= 1

    def test_serve_says_how_to_install_its_server(self, installed, elsewhere):
        """gunicorn is an extra; without it the command names the line to type."""
        result = subprocess.run([installed[0], "serve"], capture_output=True, text=True, timeout=240, **elsewhere)

        assert (result.returncode, result.stdout) == (1, "")
        assert result.stderr == (
            "error: server-not-installed\nwhat:  gunicorn is not installed, and `serve` runs on it\n"
            "mend:  pip install 'quizsvc[server]' (in a checkout: pip install -e '.[server]'); "
            "`quizsvc demo` needs nothing more\n"
        )

    def test_the_demo_drills_a_question(self, installed, elsewhere):
        """From an empty home: the demo starts, Start asks, the answer gets its feedback, Ctrl-C stops."""
        port = free_port()
        process = subprocess.Popen(
            [installed[0], "demo", "--port", str(port)],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            **elsewhere,
        )
        try:
            said = []
            for line in process.stdout:
                said.append(line)
                if "Ctrl-C" in line:
                    break
            address = re.search(r"http://127\.0\.0\.1:\d+", "".join(said))
            assert address, (said, process.stderr.read() if process.poll() is not None else "")
            client = FormClient(address[0])
            question = start_set(client)
            feedback = client.send(question.form("/answers"), some_response(question.form("/answers")))
        finally:
            process.send_signal(signal.SIGINT)
            out, err = process.communicate(timeout=120)

        assert question.status == 200
        assert feedback.status == 200
        assert feedback.url == question.url
        assert not feedback.has_form("/answers")
        assert "Study aid. Not for operational use." in feedback.words
        assert (process.returncode, err) == (0, "")
