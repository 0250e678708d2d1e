"""The pages that are written from the code stand as the code does."""

import pytest
from django.core.management import CommandError, call_command

from dealership.management.commands import write_docs
from dealership.rules.roles import Capability, Role


def test_the_pages_are_in_step():
    call_command("write_docs", "--check", verbosity=0)


def test_a_page_out_of_step_is_told(tmp_path, settings):
    settings.ROOT = tmp_path
    (tmp_path / "docs").mkdir()

    with pytest.raises(CommandError, match=r"states\.md, roles\.md"):
        call_command("write_docs", "--check")
    assert not list((tmp_path / "docs").iterdir())
    call_command("write_docs")
    call_command("write_docs", "--check")


def test_each_role_has_its_column_and_each_capability_its_row():
    lines = write_docs.roles_page().splitlines()
    table = [line for line in lines if line.startswith("|")]

    assert table[0].count("|") == len(Role) + 2
    assert len(table) == len(Capability) + 2
