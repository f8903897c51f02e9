"""The command line: words, status, and what goes to which stream."""

import subprocess
import sys

import pytest

import panelcp
from panelcp.case.examples import example_names
from panelcp.cli import COMMANDS, main
from tests.cases import CASE, changed, few_dots, write_body, write_case


@pytest.fixture
def run(capsys):
    """Function of words: status, text for the user, text for mistakes and progress."""

    def call(*words):
        capsys.readouterr()
        try:
            status = main([str(word) for word in words])
        except SystemExit as stop:
            status = stop.code
        captured = capsys.readouterr()
        assert "Traceback" not in captured.out + captured.err
        return status, captured.out, captured.err

    return call


def test_version_and_help(run):
    assert run("--version") == (0, f"panelcp {panelcp.__version__}\n", "")
    status, out, err = run("--help")
    assert (status, err) == (0, "")
    assert all(command in out for command in COMMANDS)
    assert "prove everything in test" in out


@pytest.mark.parametrize("command", COMMANDS)
def test_help_of_every_command(run, command):
    status, out, err = run(command, "--help")
    assert (status, err) == (0, "")
    assert COMMANDS[command][0] in out.replace("\n", " ")


@pytest.mark.parametrize(
    ("wrong", "near"), [("rnu", "run"), ("exampel", "example"), ("chek", "check")]
)
def test_wrong_command_gets_the_nearest(run, wrong, near):
    status, out, err = run(wrong, "x")
    assert (status, out) == (2, "")
    assert f"Did you mean 'panelcp {near}'?" in err
    assert err.count("\n") == 1


def test_missing_words(run):
    for words in ((), ("run",), ("check",), ("new",), ("qqqq",), ("run", "a.toml", "--quite")):
        status, out, err = run(*words)
        assert (status, out) == (2, "")
        assert err.startswith("panelcp: ")
        assert err.count("\n") == 1
        assert "Did you mean" not in err


def test_check_of_a_case(run, tmp_path):
    status, out, err = run("check", write_case(tmp_path))
    assert (status, err) == (0, "")
    for words in (
        "case.toml: Small body",
        "question: Above or below?",
        "panels: 320",
        "condition climb: ",
        "opening: chin (bottom, STA -1000 BL 0 WL -4",
        "search top: ",
        "no-cut zone: latch (sphere)",
        "doubts: only 320 panels",
    ):
        assert words in out
    assert not (tmp_path / "results").exists()


def test_check_of_a_case_with_mistakes(run, tmp_path):
    status, out, err = run("check", write_case(tmp_path, changed('"70 kt"', '"70 furlong"')))
    assert (status, out) == (2, "")
    assert err.startswith("panelcp: case.toml: 1 mistake\n  line ")


def test_check_of_a_mesh(run, tmp_path):
    write_body(tmp_path / "body.obj", level=3)
    status, out, err = run("check", tmp_path / "body.obj")
    assert (status, err) == (0, "")
    assert "length unit: m, proposed because the surface is 4 long" in out
    assert "size: 4.000 m long, 1.000 m wide, 1.000 m high" in out
    assert out.endswith("fit for panels\n")
    status, out, err = run("check", tmp_path / "body.obj", "--unit", "ft")
    assert status == 0
    assert "size: 1.219 m long" in out


def test_check_of_a_doubtful_mesh(run, tmp_path):
    write_body(tmp_path / "body.obj", level=1)
    status, out, err = run("check", tmp_path / "body.obj")
    assert (status, err) == (0, "")
    assert "doubt: only 80 panels: far too coarse" in out
    assert out.endswith("\ndoubts: only 80 panels: far too coarse; a few thousand are right\n")
    assert "fit for panels" not in out


def test_axes_of_a_mesh(run, tmp_path):
    write_body(tmp_path / "body.obj", level=3)
    status, out, err = run("check", tmp_path / "body.obj", "--axes=-x,-y,+z")
    assert (status, err) == (0, "")
    assert out.endswith("fit for panels\n")
    status, out, err = run("check", tmp_path / "body.obj", "--axes=+z,+y,-x")
    assert (status, out) == (2, "")
    assert "the body is 4 m high but only 1 m long" in err
    status, out, err = run("check", tmp_path / "body.obj", "--axes", "-z,+x,+y")
    assert (status, out) == (2, "")
    assert "Write it with an equals sign: --axes=-z,+x,+y" in err
    status, out, err = run("new", tmp_path / "body.obj", "--axes=-x,-y,+z")
    assert (status, err) == (0, "")
    text = (tmp_path / "body.toml").read_text(encoding="utf-8")
    assert 'axes = { aft = "-x", right = "-y", up = "+z" }' in text
    for words in (("--axes=-x,-y,+z",), ("--unit", "mm")):
        status, out, err = run("check", tmp_path / "body.toml", *words)
        assert (status, out) == (2, "")
        assert "body.toml: unit and axes of a case stand in its [surface] table" in err
    status, out, err = run("new", tmp_path / "body.toml")
    assert (status, out) == (2, "")
    assert "body.toml: is a case, not a mesh" in err


def test_check_of_what_is_no_mesh(run, tmp_path):
    (tmp_path / "note.txt").write_text("hello", encoding="utf-8")
    (tmp_path / "bad.stl").write_text("hello", encoding="utf-8")
    write_body(tmp_path / "body.stl")
    for words, message in (
        ((tmp_path / "note.txt",), "neither a case (.toml) nor a mesh"),
        ((tmp_path / "bad.stl",), "bad.stl: not a mesh"),
        ((tmp_path / "none.stl",), "none.stl: no such file"),
        ((tmp_path / "none.toml",), "none.toml: no such file"),
        ((tmp_path,), "is a folder"),
        ((tmp_path / "body.stl", "--unit", "furlong"), "unknown length unit 'furlong'"),
        ((tmp_path / "body.stl", "--unit", "mm"), "0.004 m long"),
    ):
        status, out, err = run("check", *words)
        assert (status, out) == (2, ""), words
        assert message in err
        assert err.count("\n") == 1


def test_examples_are_listed_copied_and_never_overwritten(run, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    name = example_names()[0]
    assert run("example") == (0, f"examples: {', '.join(example_names())}\n", "")
    status, out, err = run("example", name)
    assert (status, err) == (0, "")
    assert out.startswith(f"copied to {name}; next: panelcp run ")
    assert (tmp_path / name / "case.toml").is_file()
    status, out, err = run("example", name)
    assert (status, out) == (2, "")
    assert f"{name} exists already and is not empty" in err
    status, out, _ = run("example", name, tmp_path / "my copy")
    assert status == 0
    assert f'panelcp run "{tmp_path / "my copy" / "case.toml"}"' in out
    status, out, err = run("example", name + "x", tmp_path / "other")
    assert (status, out) == (2, "")
    assert f"did you mean {name!r}?" in err


def test_new_then_check_then_run(run, tmp_path):
    mesh = tmp_path / "a body.stl"
    write_body(mesh, level=3)
    status, out, err = run("new", mesh)
    assert (status, err) == (0, "")
    case = tmp_path / "a body.toml"
    assert out == f'wrote {case} (length unit m: check it); next: panelcp check "{case}"\n'
    written = case.read_bytes()
    status, out, err = run("check", case)
    assert (status, err) == (0, "")
    assert out.endswith("no mistakes found\n")
    with few_dots(50):
        status, out, err = run("run", case, "--results", tmp_path / "out")
    assert status == 0, err
    (folder,) = (tmp_path / "out").glob("run-*")
    assert out.endswith(f"report: {folder / 'report.html'}\n")
    assert len(list((folder / "maps").iterdir())) == 3
    assert not (tmp_path / "results").exists()
    status, out, err = run("new", mesh)
    assert (status, out) == (2, "")
    assert "exists already" in err
    assert case.read_bytes() == written


def test_quiet_run_prints_the_place_of_the_report_only(run, tmp_path, monkeypatch):
    text = changed('"40 m/s"', '"0 m/s"')
    for name in ("write_vent_map_sheet", "write_section_sheets", "write_report"):
        monkeypatch.setattr(f"panelcp.report.writing.{name}", lambda *_, **__: [])
    with few_dots():
        status, out, err = run("run", write_case(tmp_path, text), "--quiet")
    assert (status, err) == (0, "")
    (folder,) = (tmp_path / "results").glob("run-*")
    assert out == f"report: {folder / 'report.html'}\n"


def test_run_of_a_missing_case_and_of_a_mesh(run, tmp_path):
    write_body(tmp_path / "body.stl")
    status, out, err = run("run", tmp_path / "none.toml")
    assert (status, out, err) == (2, "", f"panelcp: {tmp_path / 'none.toml'}: no such file\n")
    status, out, err = run("run", tmp_path / "body.stl")
    assert (status, out) == (2, "")
    assert (
        err == "panelcp: body.stl: is a mesh, not a case; write a case for it with 'panelcp new'\n"
    )


def test_stop_by_the_user(run, tmp_path, monkeypatch):
    def stop(*arguments):
        raise KeyboardInterrupt

    monkeypatch.setattr("panelcp.case.running.run_case", stop)
    status, out, err = run("run", write_case(tmp_path))
    assert (status, out) == (130, "")
    assert "stopped; earlier results are unchanged" in err


def test_fault_of_the_program_keeps_its_traceback(tmp_path, monkeypatch):
    def fail(*arguments):
        raise ZeroDivisionError("a fault")

    monkeypatch.setattr("panelcp.case.running.run_case", fail)
    with pytest.raises(ZeroDivisionError, match="a fault"):
        main(["run", str(write_case(tmp_path))])


def test_as_a_process_on_a_narrow_terminal(tmp_path):
    """Letters that the terminal does not have become stand-ins; the status reaches the shell."""
    path = write_case(tmp_path, changed("Small body", "Rumpf größer 試", CASE))
    done = subprocess.run(
        [sys.executable, "-m", "panelcp", "check", str(path)],
        capture_output=True,
        env={"PYTHONIOENCODING": "ascii", "PATH": ""},
        cwd=panelcp.__path__[0] + "/..",
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, b"")
    assert b"case.toml: Rumpf gr??er ?" in done.stdout


def test_rank_of_one_case(run, tmp_path):
    status, out, err = run("rank", write_case(tmp_path, changed("best = 3", "best = 2")))
    assert status == 0, err
    (folder,) = (tmp_path / "results").glob("rank-*")
    assert out.endswith(f"tables: {folder}\n")
    assert "Best of " in out
    assert "ranking places" in err
    assert not (folder / "maps").exists()
    assert not (folder / "report.html").exists()


def test_rank_of_two_cases(run, tmp_path):
    paths = write_case(tmp_path), write_case(tmp_path, name="b.toml")
    status, out, err = run("rank", *paths, "--results", tmp_path / "out")
    assert status == 0, err
    (folder,) = (tmp_path / "out").glob("side-by-side-*")
    assert out.endswith(f"side by side: {folder / 'side-by-side.html'}\n")
    assert "A is Small body (case.toml); B is Small body (b.toml)." in out
    assert "no difference in any world" in out
    assert "Estimate for study" in out
    assert "Small body (b.toml): ranking places" in err
    assert not (tmp_path / "results").exists()


def test_rank_of_what_cannot_be_compared(run, tmp_path):
    path = write_case(tmp_path)
    other = write_case(tmp_path, changed('"climb"', '"tow"'), "other.toml")
    bad = write_case(tmp_path, changed('"70 kt"', '"70 furlong"'), "bad.toml")
    for words, message in (
        ((path, path), f"{path}: given twice"),
        ((path, tmp_path / "none.toml"), f"{tmp_path / 'none.toml'}: no such file"),
        ((path, bad), f"{bad}: 1 mistake"),
        ((path, other), "no condition decides in all 2 cases"),
        ((), "the following arguments are required"),
    ):
        status, out, err = run("rank", *words)
        assert (status, out) == (2, ""), words
        assert err.startswith("panelcp: ")
        assert message in err
    assert not (tmp_path / "results").exists()
