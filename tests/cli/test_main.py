"""The command line as a person meets it: help, version, exit codes, no traceback."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from importlib.metadata import version
from pathlib import Path

import pytest

from floorfit.cli import COMMANDS, build_parser, main

ROOT = Path(__file__).resolve().parent.parent.parent


def run(*words: str, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "floorfit", *words],
        capture_output=True, text=True, cwd=ROOT, env={**os.environ, **environment}, timeout=120, check=False,
    )  # fmt: skip


def _help(name: str, capsys: pytest.CaptureFixture[str]) -> str:
    with pytest.raises(SystemExit, match="0"):
        main([name, "--help"])
    return capsys.readouterr().out


@pytest.mark.parametrize("name", COMMANDS)
def test_help_of_each_command_has_an_example_that_parses(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    text = _help(name, capsys)
    examples = re.findall(rf"^\s+(floorfit {name} .*)$", text, re.MULTILINE)
    assert examples, f"{name}: no example"
    for line in examples:
        words = shlex.split(line.split(">")[0].split("|")[0])[1:]
        assert build_parser().parse_args(words).command == name


@pytest.mark.parametrize("name", COMMANDS)
def test_example_of_help_names_files_that_exist_or_that_a_command_makes(name: str, capsys) -> None:
    for word in re.findall(r"sample_parts/\S+", _help(name, capsys)):
        assert (ROOT / word).exists(), word


@pytest.mark.parametrize("name", COMMANDS)
def test_help_fits_80_columns(name: str, capsys, monkeypatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    long = [line for line in _help(name, capsys).splitlines() if len(line) > 80]
    assert all(line.startswith("  floorfit ") for line in long), long  # a command to copy stays in one line


def test_top_help_lists_commands_and_exit_codes(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="0"):
        main(["--help"])
    text = capsys.readouterr().out
    for name in ("correct", "extract", "plan", "apply", "verify"):  # contract
        assert name in text
    assert "exit codes: 0" in text


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="0"):
        main(["--version"])
    assert capsys.readouterr().out == f"floorfit {version('floorfit')}\n"


@pytest.mark.parametrize("words", [[], ["nothing"], ["correct"], ["correct", "a", "b"], ["correct", "--nothing"]])
def test_wrong_call_is_exit_2(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="2"):
        main(words)
    printed = capsys.readouterr()
    assert printed.out == ""
    assert printed.err.count("\n") == 1 and "--help`" in printed.err  # one line, and where the options are listed


@pytest.mark.parametrize(
    "words",
    [
        ["apply", "job", "a.nc", "-o", "b.nc", "--work-offset", "G54", "--work-offset", "G55"],
        ["extract", "a.stl", "-o", "b.json", "--boundary", "foot", "--boundary", "wall"],  # the first is the default
    ],
)
def test_one_value_of_two_is_not_dropped_without_a_word(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="2"):
        main(words)
    assert f"{words[-2]} is given twice" in capsys.readouterr().err


def test_nearest_option_is_named(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.argv", ["floorfit", "correct"])
    with pytest.raises(SystemExit, match="2"):
        main(["correct", "a", "b", "-o", "c", "--levle", "0.9"])
    assert "Did you mean --level?" in capsys.readouterr().err


@pytest.mark.parametrize("shell", ["bash", "zsh"])
def test_completion_knows_every_command(shell: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="0"):
        main(["--print-completion", shell])
    printed = capsys.readouterr().out
    assert all(name in printed for name in COMMANDS) and "--no-pictures" in printed


@pytest.mark.parametrize(
    ("option", "value"),
    [
        ("--level", "1.2"),
        ("--level", "0.5"),
        ("--limit", "-1"),
        ("--limit", "inf"),
        ("--reading-u", "nan"),
        ("--reading-u", "0"),
        ("--thin-cost", "much"),
        ("--most", "bend"),
        ("--seed", "1.5"),
    ],
)
def test_wrong_setting_is_refused_by_name(option: str, value: str, capsys: pytest.CaptureFixture[str]) -> None:
    # No file of these names exists: a wrong setting is refused before anything is read.
    try:
        assert main(["correct", "part.json", "readings.csv", "-o", "job", option, value]) == 2
    except SystemExit as refused:  # what the parser itself refuses
        assert refused.code == 2
    assert option in capsys.readouterr().err


def test_main_job_as_its_help_shows_it(tmp_path: Path) -> None:
    # The example of `floorfit correct --help`, from a shell, piped.
    folder = tmp_path / "job"
    sample = "sample_parts/bay_frame"
    done = run(
        "correct", f"{sample}/part.json", f"{sample}/readings.csv", "-o", str(folder), "--no-pictures", NO_COLOR="1"
    )
    assert done.returncode in (0, 1), done.stderr
    assert "\x1b[" not in done.stdout + done.stderr
    assert "Traceback" not in done.stderr
    last = done.stdout.strip().splitlines()[-1]
    assert re.match(r"\d+ of 18 pockets corrected", last)
    assert (done.returncode == 0) == ("all predicted to conform" in last)
    table = [line for line in done.stdout.splitlines() if "P01" in line and "shift" in line]
    assert table
    readme = (ROOT / "README.md").read_text("utf-8").split("```")
    block = next(part for part in readme if part.startswith("\npocket action"))
    printed = [line.rstrip() for line in done.stdout.splitlines()]
    assert all(line in printed for line in block.strip().splitlines() if line != "…")  # what the command prints
    assert all(len(line) <= 80 for line in table)
    assert f"floorfit apply {folder} PROGRAM" in done.stderr  # the next command, filled in


def test_fault_of_our_own_is_a_message_and_debug_shows_the_rest(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def fail(which: object) -> None:
        raise ZeroDivisionError("oh")

    monkeypatch.setattr("floorfit.cli.schema.run", fail)
    assert main(["schema", "part"]) == 2
    printed = capsys.readouterr().err
    assert "Traceback" not in printed
    assert "internal fault (ZeroDivisionError: oh)" in printed
    assert main(["--debug", "schema", "part"]) == 2
    assert "Traceback" in capsys.readouterr().err


class PanicException(BaseException):
    """What a library in Rust raises where memory runs out."""


@pytest.mark.parametrize("error", [KeyboardInterrupt(), MemoryError(), PanicException()])
def test_stop_and_shortage_write_nothing_and_say_so(
    error: BaseException, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def fail(which: object) -> None:
        raise error

    monkeypatch.setattr("floorfit.cli.schema.run", fail)
    assert main(["schema", "part"]) == 2
    assert "nothing was written" in capsys.readouterr().err


def test_help_imports_nothing_heavy() -> None:
    code = (
        "import sys; from floorfit.cli import main\n"
        "try: main(['--help'])\nexcept SystemExit: pass\n"
        "print(*sys.modules, file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True)
    assert not set(done.stderr.split()) & {"scipy", "matplotlib", "trimesh", "shapely", "pydantic", "plotly"}


@pytest.fixture(scope="module")
def loaded(tmp_path_factory: pytest.TempPathFactory) -> tuple[set[str], set[str]]:
    """The modules that a run has loaded when the table is there, and at its end."""
    sample, job = ROOT / "sample_parts/bay_frame", tmp_path_factory.mktemp("loaded") / "job"
    words = ["correct", f"{sample}/part.json", f"{sample}/readings.csv", "-o", f"{job}", "--no-pictures"]
    code = (
        "import sys, floorfit.cli.correct as home; from floorfit.cli import main\n"
        "answer, tell = home._answer, lambda: print('LOADED', *sys.modules, file=sys.stderr)\n"
        "home._answer = lambda *given: (answer(*given), tell())\n"
        f"main({words!r}); tell()"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True)
    table, end = (set(line.split()) for line in done.stderr.splitlines() if line.startswith("LOADED"))
    return table, end


def test_correct_imports_no_more_than_it_needs(loaded: tuple[set[str], set[str]]) -> None:
    # Each of these takes some hundredths of a second of the time to the table, and the frame's 18 shifts need none.
    heavy = {f"scipy.{name}" for name in ("spatial", "special", "interpolate", "optimize", "stats")}
    assert "pydantic" in loaded[1]
    assert not loaded[1] & (heavy | {"rich", "tomllib", "matplotlib", "jinja2", "floorfit.cli.apply"})


def test_the_table_waits_for_nothing_that_only_the_record_needs(loaded: tuple[set[str], set[str]]) -> None:
    # pydantic and its models take 340 million instructions, a twentieth of the way to the table of 70 pockets.
    assert "floorfit.run" in loaded[0]
    assert not loaded[0] & {"pydantic", "floorfit.record", "floorfit.recording", "floorfit.folder"}


def test_reader_that_stops_leaves_one_line() -> None:
    # As in `floorfit … | head -1` (POSIX, write: EPIPE where no process reads the pipe).
    reader, writer = os.pipe()
    os.close(reader)
    call = [sys.executable, "-m", "floorfit", "--print-completion", "bash"]
    done = subprocess.run(call, stdout=writer, stderr=subprocess.PIPE, text=True, check=False)
    os.close(writer)
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 1
    assert "stopped before its end" in done.stderr
