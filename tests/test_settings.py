"""Settings: what the environment may say, what it gets wrong, and the secret."""

from __future__ import annotations

import stat
import subprocess
import sys
from pathlib import Path

import pytest

from quizsvc.errors import InputError
from quizsvc.settings import (
    Settings,
    migrations_folder,
    question_bank_folder,
    read_or_make_secret,
    settings_from,
)

ROOT = Path(__file__).resolve().parent.parent


class TestDefaults:
    def test_an_empty_home_is_enough(self):
        """With nothing set, everything lives in one folder below the home."""
        settings = settings_from({"HOME": "/home/anna"})

        assert settings == Settings(
            database_url="sqlite:////home/anna/.local/share/quizsvc/quizsvc.db",
            secret_file=Path("/home/anna/.local/share/quizsvc/secret"),
            data_dir=Path("/home/anna/.local/share/quizsvc"),
            public_url="http://127.0.0.1:8019",
            trusted_proxies=0,
            time_zone="UTC",
            bank=ROOT / "question_bank",
        )

    def test_the_data_folder_of_the_desktop_is_used(self):
        """XDG_DATA_HOME moves database and secret together."""
        settings = settings_from({"HOME": "/home/anna", "XDG_DATA_HOME": "/data"})

        assert settings.data_dir == Path("/data/quizsvc")
        assert settings.database_url == "sqlite:////data/quizsvc/quizsvc.db"

    def test_the_data_folder_moves_what_is_not_named_itself(self):
        """A secret named by itself stays where it is named."""
        settings = settings_from({"HOME": "/h", "QUIZSVC_DATA_DIR": "/d", "QUIZSVC_SECRET_FILE": "/run/secrets/quiz"})

        assert settings.database_url == "sqlite:////d/quizsvc.db"
        assert settings.secret_file == Path("/run/secrets/quiz")

    def test_an_empty_variable_is_an_unset_one(self):
        """`QUIZSVC_TIME_ZONE=` in a service file means the default."""
        assert settings_from({"HOME": "/h", "QUIZSVC_TIME_ZONE": ""}).time_zone == "UTC"

    def test_folders_of_the_distribution_are_there(self):
        """The checkout's own, where no packaged ones are."""
        assert migrations_folder() == ROOT / "migrations"
        assert question_bank_folder() == ROOT / "question_bank"


class TestValues:
    @pytest.mark.parametrize(
        ("variable", "value", "field", "read"),
        [
            ("QUIZSVC_DATABASE_URL", "sqlite:////srv/q.db", "database_url", "sqlite:////srv/q.db"),
            ("QUIZSVC_DATABASE_URL", "postgresql://q@db/q", "database_url", "postgresql+psycopg://q@db/q"),
            ("QUIZSVC_DATABASE_URL", "postgresql+psycopg://q@db/q", "database_url", "postgresql+psycopg://q@db/q"),
            ("QUIZSVC_PUBLIC_URL", "https://quiz.example.org/", "public_url", "https://quiz.example.org"),
            ("QUIZSVC_PUBLIC_URL", "http://[::1]:8019", "public_url", "http://[::1]:8019"),
            ("QUIZSVC_TRUSTED_PROXIES", "2", "trusted_proxies", 2),
            ("QUIZSVC_TIME_ZONE", "Europe/Lisbon", "time_zone", "Europe/Lisbon"),
            ("QUIZSVC_BANK", "/srv/bank", "bank", Path("/srv/bank")),
            ("QUIZSVC_LATER_MONTH", "no", "later_month", "no"),
            ("QUIZSVC_LATER_MONTH", "", "later_month", "not said"),
        ],
    )
    def test_a_setting_is_read(self, variable, value, field, read):
        """Each variable reaches its field, in the form that the service uses."""
        assert getattr(settings_from({"HOME": "/h", variable: value}), field) == read

    @pytest.mark.parametrize(
        ("variable", "value", "reference", "what", "mend"),
        [
            (
                "QUIZSVC_DATABASE_URL",
                "mysql://q@db/q",
                "setting-database-url",
                "'mysql://q@db/q' is not a database this service knows",
                "sqlite:////absolute/path.db or postgresql+psycopg://user@host/name",
            ),
            *(
                (
                    "QUIZSVC_PUBLIC_URL",
                    value,
                    "setting-public-url",
                    f"'{value}' is not the address of a site",
                    "scheme and host only, such as https://quiz.example.org",
                )
                for value in (
                    "quiz.example.org",
                    "ftp://quiz.example.org",
                    "https://quiz.example.org/quiz",
                    "https://quiz.example.org?a=1",
                    "https://quiz.example.org#a",
                    "https://anna@quiz.example.org",
                    "https://[::1",
                    "https://quiz example.org",
                )
            ),
            *(
                (
                    "QUIZSVC_TRUSTED_PROXIES",
                    value,
                    "setting-count",
                    f"'{value}' is not a count",
                    "a whole number from 0 to 10",
                )
                for value in ("one", "-1", "11", "1.0", "²")
            ),
            (
                "QUIZSVC_LATER_MONTH",
                "maybe",
                "setting-word",
                "'maybe' is not one of the words",
                "not said, yes, no",
            ),
            *(
                (
                    "QUIZSVC_TIME_ZONE",
                    value,
                    "setting-time-zone",
                    f"'{value}' is not a time zone",
                    "an IANA name such as UTC or Europe/Lisbon",
                )
                for value in ("Moon/Sea", "../../etc/passwd", "/etc/localtime", "Europe")
            ),
        ],
    )
    def test_a_value_that_cannot_be_read_is_refused(self, variable, value, reference, what, mend):
        """Quotes the value, names the variable, says what it takes."""
        with pytest.raises(InputError) as refused:
            settings_from({"HOME": "/h", variable: value})

        error = refused.value
        assert (error.reference, error.what, error.where, error.mend) == (reference, what, variable, mend)

    def test_a_mistyped_variable_is_refused(self):
        """Silence would run the service on another database than the one meant."""
        with pytest.raises(InputError) as refused:
            settings_from({"HOME": "/h", "QUIZSVC_DATABASE": "sqlite:////srv/q.db"})

        assert refused.value.what == "'QUIZSVC_DATABASE' is not a setting"
        assert "QUIZSVC_DATABASE_URL" in refused.value.mend

    def test_a_variable_of_the_tests_is_none_of_the_services(self):
        """A developer's shell that still has the tests' PostgreSQL runs every command."""
        assert settings_from({"HOME": "/h", "QUIZSVC_TEST_POSTGRES_URL": "x"}) == settings_from({"HOME": "/h"})

    @pytest.mark.parametrize(("url", "https"), [("https://quiz.example.org", True), ("http://127.0.0.1:8019", False)])
    def test_https_follows_the_public_address(self, url, https):
        """Cookies are Secure where people come by https."""
        assert settings_from({"HOME": "/h", "QUIZSVC_PUBLIC_URL": url}).https is https


class TestSecret:
    def test_it_is_made_once_for_its_owner_alone(self, tmp_path):
        """The second start reads what the first one made."""
        path = tmp_path / "data" / "secret"
        secret = read_or_make_secret(path)

        assert len(secret) == 64
        assert read_or_make_secret(path) == secret
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
        assert [entry.name for entry in path.parent.iterdir()] == ["secret"]

    def test_two_installations_have_two_secrets(self, tmp_path):
        """There is no secret that ships with the service."""
        assert read_or_make_secret(tmp_path / "a") != read_or_make_secret(tmp_path / "b")

    def test_processes_that_start_together_agree(self, tmp_path):
        """Workers of one server sign with one key, whoever comes first."""
        code = (
            "import sys; from pathlib import Path; from quizsvc.settings import read_or_make_secret\n"
            "sys.stdin.read(1); print(read_or_make_secret(Path(sys.argv[1])))"
        )
        processes = [
            subprocess.Popen(
                [sys.executable, "-c", code, tmp_path / "secret"], stdin=subprocess.PIPE, stdout=subprocess.PIPE
            )
            for _ in range(6)
        ]
        for process in processes:
            process.stdin.write(b"x")
            process.stdin.flush()
        seen = {process.communicate(timeout=300)[0] for process in processes}

        assert len(seen) == 1
        assert len(seen.pop().strip()) == 64

    def test_a_short_secret_is_refused(self, tmp_path):
        """A key typed by hand that can be guessed is worse than an error."""
        (tmp_path / "secret").write_text("quiz\n")
        with pytest.raises(InputError, match="fewer than 32 characters") as refused:
            read_or_make_secret(tmp_path / "secret")

        assert "delete the file" in refused.value.mend

    def test_a_folder_that_cannot_be_made_is_a_clear_error(self, tmp_path):
        """The account may not write there: says where, and which setting names another place."""
        (tmp_path / "file").write_text("")
        with pytest.raises(InputError, match="neither read nor made") as refused:
            read_or_make_secret(tmp_path / "file" / "secret")

        assert refused.value.where == str(tmp_path / "file" / "secret")
        assert "QUIZSVC_SECRET_FILE" in refused.value.mend

    def test_a_binary_file_is_a_clear_error(self, tmp_path):
        """A key made with another program may not be text."""
        (tmp_path / "secret").write_bytes(b"\xff" * 64)
        with pytest.raises(InputError, match="not a text"):
            read_or_make_secret(tmp_path / "secret")
