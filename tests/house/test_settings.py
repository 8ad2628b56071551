"""Every setting is described for those who run the service, and no other is described."""

from __future__ import annotations

import re
from dataclasses import fields

import pytest

from burrline_service.settings import OF_THE_SDK, BadSettings, Settings, read_settings
from source_tree import ROOT, project_files

NAME = re.compile(r"\bBURRLINE_[A-Z][A-Z_]*[A-Z]\b")
# The tests' own: it names a server to test on, the service refuses it.
OF_THE_TESTS = {"BURRLINE_TEST_DATABASE_URL"}
OF_THE_SERVICE = {f"BURRLINE_{field.name.upper()}" for field in fields(Settings)}
FROM_FILES = {f"{name}_FILE" for name in OF_THE_SERVICE if name.endswith("DATABASE_URL")}
ALL = OF_THE_SERVICE | FROM_FILES | OF_THE_SDK


def named_in(text: str) -> set[str]:
    return set(NAME.findall(text))


def test_every_setting_of_the_service_is_described_for_who_runs_it() -> None:
    page = (ROOT / "deploy" / "README.md").read_text(encoding="utf-8")
    assert named_in(page) >= OF_THE_SERVICE | FROM_FILES


def test_every_setting_of_the_sdk_is_described_for_who_uses_it() -> None:
    pages = [ROOT / "README.md", ROOT / "sdk" / "README.md"]
    assert all(named_in(page.read_text(encoding="utf-8")) >= OF_THE_SDK for page in pages)


def test_no_page_names_a_setting_that_is_not_there() -> None:
    named = {name for page in project_files(ROOT, "*.md") for name in named_in(page.read_text())}
    assert named - ALL - OF_THE_TESTS == set()


def test_the_settings_shown_are_the_settings_there_are() -> None:
    assert set(read_settings({}).shown()) == OF_THE_SERVICE


@pytest.mark.parametrize("name", [*sorted(OF_THE_TESTS), "BURRLINE_DATABASE_URI"])
def test_a_name_that_is_no_setting_is_refused(name: str) -> None:
    with pytest.raises(BadSettings, match=name):
        read_settings({name: "postgresql://127.0.0.1/x"})
