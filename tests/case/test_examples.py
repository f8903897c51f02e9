"""Shipped examples: names, copies, and that they are cases without mistakes."""

import pytest

from panelcp.case.examples import copy_example, example_names, examples_folder
from panelcp.case.reading import read_case
from panelcp.errors import CaseError


def test_names_are_the_folders_with_a_case():
    names = example_names()
    assert names
    assert names == sorted(names)
    for name in names:
        assert (examples_folder() / name / "case.toml").is_file()


@pytest.mark.parametrize("name", example_names())
def test_example_reads_without_mistake_and_says_that_it_is_invented(tmp_path, name):
    folder = copy_example(name, tmp_path / "copy")
    case = read_case(folder / "case.toml")
    assert case.surface_path.is_file()
    assert "invent" in (folder / "case.toml").read_text(encoding="utf-8").lower()
    assert (folder / "README.md").is_file()


def test_copy_holds_the_same_bytes_and_no_results(tmp_path):
    name = example_names()[0]
    folder = copy_example(name, tmp_path / "new" / "place")
    for path in folder.rglob("*"):
        if path.is_file():
            source = examples_folder() / name / path.relative_to(folder)
            assert path.read_bytes() == source.read_bytes()
    assert not (folder / "results").exists()


def test_existing_folder_is_refused_unless_it_is_empty(tmp_path):
    name = example_names()[0]
    (tmp_path / "empty").mkdir()
    copy_example(name, tmp_path / "empty")
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "case.toml").write_text("mine", encoding="utf-8")
    with pytest.raises(CaseError, match="mine exists already and is not empty"):
        copy_example(name, tmp_path / "mine")
    assert (tmp_path / "mine" / "case.toml").read_text(encoding="utf-8") == "mine"
    with pytest.raises(CaseError, match="exists already"):
        copy_example(name, tmp_path / "mine" / "case.toml")


def test_unknown_name_gets_the_nearest(tmp_path):
    name = example_names()[0]
    with pytest.raises(CaseError, match=f"there are: .*did you mean '{name}'"):
        copy_example(name[:-1], tmp_path / "x")
    assert not (tmp_path / "x").exists()


def test_folder_that_cannot_be_made(tmp_path):
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(CaseError, match="cannot be written"):
        copy_example(example_names()[0], tmp_path / "file" / "x")
