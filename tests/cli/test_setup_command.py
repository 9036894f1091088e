"""The whole guided set-up in the terminal: played for an invented practice, counted, interrupted, and fed nonsense."""

import json
import os
import pty
import re
import select
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner, Result
from setup_scenario import MOST_S, NOW, S_A_KEY, S_A_LINE, S_A_QUESTION, TYPED, calendar, counted, measuring_s

import fettlebook.cli.setup as command
from fettlebook.errors import Mendable
from fettlebook.exchange.setup.asking import Open, Walk
from fettlebook.exchange.setup.dialogue import Dialogue
from fettlebook.exchange.setup.script_flows import ask_flow
from fettlebook.practice.load import read_practice_file
from fettlebook.practice.model import Practice
from fettlebook.rules.load import lay_rulebook

pytestmark = pytest.mark.invented
DOCS = Path(__file__).parents[2] / "docs/assistant/setting-up.md"
BEGIN, END = "<!-- transcript: written by tests/cli/test_setup_command.py -->\n```\n", "```\n<!-- end of transcript -->"
Play = Callable[..., tuple[Result, list[str]]]


@pytest.fixture
def play(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Play:
    """Play the dialogue by the ids of its questions; the transcript shows what was typed."""
    monkeypatch.setattr(command, "_now", lambda: NOW)
    monkeypatch.setattr(command, "_zone_here", lambda _: "Europe/London")
    monkeypatch.chdir(tmp_path)

    def run(folder: str = "mill-lane", typed: dict[str, str] | None = None, stop_at: str = "") -> tuple[Result, list[str]]:
        answers, asked = TYPED if typed is None else typed, list[str]()

        def prompt(*_: Any, **__: Any) -> str:
            question = Dialogue(Path(folder), NOW.date, "Europe/London").now().question
            assert question is not None
            asked.append(question.id)
            assert len(asked) < 200
            if question.id == stop_at:
                raise click.Abort
            click.echo(f"> {answers.get(question.id, '')}")
            return answers.get(question.id, "")

        monkeypatch.setattr(click, "prompt", prompt)
        return CliRunner().invoke(command.setup, [folder]), asked

    return run


def _practice(path: Path) -> Practice:
    loaded = read_practice_file(path)
    assert loaded.practice is not None, loaded.errors
    loaded = loaded.with_faults(lay_rulebook(loaded.practice, NOW.date()).faults)
    assert loaded.errors == ()
    assert loaded.practice is not None
    return loaded.practice


def _lines_shown(folder: Path, asked: list[str]) -> int:
    """Return how many lines of what is usual stood on the sheets."""
    dialogue = Dialogue(folder, NOW.date, "Europe/London")
    sheets = {q.id: len(q.choices) for q in dialogue.asked() if q.sheet}
    assert set(sheets) <= set(asked)
    return sum(sheets.values())


def _begun(tmp_path: Path) -> Path:
    folder = tmp_path / "mill-lane"
    folder.mkdir()
    (folder / "book.ics").write_bytes(calendar())
    return folder


def test_the_whole_dialogue_ends_in_a_valid_file_in_under_thirty_minutes_and_stands_in_the_docs(play: Play, tmp_path: Path) -> None:
    folder = _begun(tmp_path)
    done, asked = play()
    assert done.exit_code == 0, done.output
    assert set(TYPED) <= set(asked)
    practice = _practice(folder / "practice.toml")
    assert [c.room for c in practice.chairs] == ["mill lane 1", "mill lane 2", "hygiene"]
    first, second, third = practice.chairs
    assert [(o.id, o.flow_ml_min, o.typical, o.measured_on) for o in first.outlets][:2] == [
        ("turbine", 51.0, False, NOW.date()),
        ("motor", 59.0, False, NOW.date()),
    ]
    assert all(o.typical and o.measured_on is None for o in (*second.outlets, *third.outlets))
    assert second.segments == first.segments
    assert all(part.typical for part in first.segments)
    assert [o.id for o in third.outlets] == ["scaler", "syringe"]
    assert [(p.id, p.uses[0].contact_s) for p in practice.products] == [("line care 3 invented", 600), ("wipes invented", 120)]
    assert [p.acts_as for p in practice.people] == ["lead", "assistant", "assistant"]
    assert practice.practice.water_temperature_c == 12.0
    assert "2026-11-25: 4 visits, 0 entries not mapped" in " ".join(done.output.split())
    assert "Nobody Invented" not in done.output + (folder / "practice.toml").read_text() + (folder / "setup.json").read_text()
    assert (folder / "cards.pdf").read_bytes().startswith(b"%PDF")
    assert "chair 1, chair 2, chair 3: Suction cleaner acts" in done.output
    assert "the product for the suction lines: steps with it have no time" in " ".join(done.output.lower().split())
    keys = sum(len(TYPED.get(name, "")) + 1 for name in asked)  # each answer ends with Enter
    lines = _lines_shown(folder, asked)
    seconds = len(asked) * S_A_QUESTION + lines * S_A_LINE + keys * S_A_KEY
    assert seconds + measuring_s() < MOST_S
    told = counted(f"In the terminal: {len(asked)} questions, {lines} lines, {keys} keys", seconds)
    output = "".join(f"{row.rstrip()}\n" for row in done.output.replace(f"{tmp_path}/", "").splitlines())
    text = BEGIN + output + END
    kept = DOCS.read_text("utf-8")
    if os.environ.get("WRITE_DOCS"):  # pragma: no cover - by hand, after a change of the dialogue
        head, _, rest = kept.partition(BEGIN)
        kept = re.sub(r"In the terminal: .*", told, head) + text + rest.partition(END)[2]
        DOCS.write_text(kept, "utf-8")
    assert text in kept, "write it again: WRITE_DOCS=1 pytest tests/cli/test_setup_command.py"
    assert told in kept


def test_stopped_at_any_question_it_goes_on_there_and_loses_nothing(play: Play, tmp_path: Path) -> None:
    folder = _begun(tmp_path)
    _, whole = play()
    (folder / "practice.toml").rename(folder / "first.toml")
    (folder / "setup.json").unlink()
    for place in (0, 5, 30, len(whole) - 1):
        stopped, asked = play(stop_at=whole[place])
        assert stopped.exit_code == 1
        assert asked[-1] == whole[place]
        assert "Go on with: fettlebook setup mill-lane" in stopped.output
        assert not (folder / "practice.toml").exists()
        said = json.loads(CliRunner().invoke(command.setup, ["mill-lane", "--json"]).output)
        assert (said["answered"], said["next"]["id"], said["done"]) == (place, whole[place], False)
    done, asked = play()
    assert done.exit_code == 0
    assert asked == whole[-1:]
    assert (folder / "practice.toml").read_text() == (folder / "first.toml").read_text()


def test_nonsense_is_explained_kept_and_asked_again(play: Play, tmp_path: Path) -> None:
    dialogue = Dialogue(tmp_path / "x", NOW.date, "Europe/London")
    first = dialogue.now().question
    assert first is not None
    nonsense = [
        "",
        "\x00\x1b",
        "a" * 5000,
        "-1",
        "99999",
        "nan",
        "1e9",
        "../../..",
        "'; drop",
        "{name}",
        "%s",
        "\ud800",
        "٣",
        "ready, ready",
    ]
    for _ in range(90):
        stands = dialogue.now()
        question = stands.question
        if question is None:
            break
        for typed in nonsense:
            found = dialogue.answer(typed)
            if found is None:
                dialogue.back()
                dialogue.answers.earlier.clear()
                continue
            assert found.what
            assert found.mend
            again = Dialogue(tmp_path / "x", NOW.date, "Europe/London").now()
            assert again.question is not None
            assert again.question.id == question.id
            assert again.finding is not None or typed == "\ud800"  # kept as a question mark, which is a name
        assert dialogue.answer(TYPED.get(question.id, "")) is None
    else:
        pytest.fail("the dialogue did not end")


def test_one_step_back_offers_the_answer_anew(tmp_path: Path) -> None:
    dialogue = Dialogue(tmp_path / "x", NOW.date, "Europe/London")
    assert not dialogue.back()
    dialogue.answer("Mill Lane")
    dialogue.answer("uk")
    assert dialogue.back()
    assert dialogue.back()
    question = dialogue.now().question
    assert question is not None
    assert (question.id, question.offered) == ("practice.name", "Mill Lane")
    dialogue.answer("")
    question = dialogue.now().question
    assert question is not None
    assert (question.id, question.offered) == ("practice.country", "uk")


def test_a_practice_file_is_never_overwritten_without_a_word(play: Play, tmp_path: Path) -> None:
    folder = _begun(tmp_path)
    (folder / "practice.toml").write_text("mine = true\n")
    done, asked = play()
    assert done.exit_code == 0
    assert asked[-1] == "end.finish"
    assert (folder / "practice.toml").read_text() == "mine = true\n"
    made = (folder / "practice-new.toml").read_text()
    done, _ = play(typed=TYPED | {"end.finish": "replace"})
    assert done.exit_code == 0
    assert (folder / "practice.toml").read_text() == made
    assert (folder / "practice-old.toml").read_text() == "mine = true\n"


def test_a_label_without_a_value_leaves_the_product_out_and_names_it(play: Play, tmp_path: Path) -> None:
    folder = _begun(tmp_path)
    done, asked = play(typed={k: v for k, v in TYPED.items() if k != "product.line intensive.contact"})
    assert "product.line intensive.degrees" not in asked
    practice = _practice(folder / "practice.toml")
    assert [p.name for p in practice.products] == ["Wipes (invented)"]
    assert practice.in_use.line_intensive is None
    told = "Line care 3 (invented): its label was not at hand, so it was left out"
    assert told in (folder / "practice.toml").read_text()
    assert told in " ".join(done.output.split())


def test_readings_that_differ_by_more_than_a_tenth_are_kept_only_with_a_word() -> None:
    def flow(**answers: str) -> tuple[dict[str, Any], list[str]]:
        walk = Walk({name.replace("_", "."): typed for name, typed in answers.items()}, {}, NOW.date(), lambda _: b"")
        kind = {"chair": "chair 1", "outlet": "turbine", "kind": "turbine", "usual_ml_min": 40.0, "others": (), "water_c": 9.0}
        return ask_flow(walk, "f", **kind), [q.id for q in walk.asked]

    alike, asked = flow(f="51/60 53/60 @2026-11-02")
    assert asked == ["f"]
    assert (alike["flow_ml_min"], alike["measured_on"].isoformat()) == (52.0, "2026-11-02")
    with pytest.raises(Open, match="odd"):
        flow(f="51/60 90/60 50/60 @2026-11-02")
    assert flow(f="51/60 90/60 50/60 @2026-11-02", f_odd="no")[0] == {"flow_ml_min": 40.0, "typical": True}
    assert flow(f="51/60 90/60 50/60 @2026-11-02", f_odd="yes")[0]["flow_ml_min"] == pytest.approx(63.7)


@pytest.mark.parametrize("kept", ["", "[]", '{"form": 2}', '{"form": 1, "taken": [1]}', "\x00", "[" * 100_000])
def test_a_file_of_answers_that_is_none_is_left_alone(kept: str, tmp_path: Path) -> None:
    (tmp_path / "setup.json").write_text(kept)
    with pytest.raises(Mendable, match="Move the file away"):
        Dialogue(tmp_path, NOW.date, "Europe/London")
    assert (tmp_path / "setup.json").read_text() == kept


def test_a_folder_that_can_not_be_written_is_said_at_once(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    for place in (tmp_path / "file", tmp_path / "file" / "below", Path("/proc/none")):
        with pytest.raises(Mendable, match="folder"):
            Dialogue(place, NOW.date, "Europe/London")
    command_line = [sys.executable, "-m", "fettlebook", "setup", str(tmp_path / "file")]
    done = subprocess.run(command_line, capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert "this is a file, not a folder" in done.stderr
    assert "Traceback" not in done.stderr


def test_ctrl_c_in_a_real_terminal_keeps_every_answer(tmp_path: Path) -> None:
    main, side = pty.openpty()
    with subprocess.Popen(
        [sys.executable, "-m", "fettlebook", "setup", str(tmp_path / "x")], stdin=side, stdout=side, stderr=side, start_new_session=True
    ) as running:
        os.close(side)
        seen = b""

        def until(wanted: bytes) -> None:
            nonlocal seen
            while wanted not in seen:
                assert select.select([main], [], [], 60)[0], seen
                seen += os.read(main, 4096)
            seen = seen.partition(wanted)[2]

        until(b"1. What is the practice called?")
        until(b"> ")
        os.write(main, b"Mill Lane\n")
        until(b"2. Under which rules")
        until(b"> ")
        os.write(main, b"6\n")
        until(b"3. How cold")
        until(b"> ")
        running.send_signal(signal.SIGINT)
        until(b"Go on with: fettlebook setup")
        assert running.wait(30) == 1
    os.close(main)
    assert json.loads((tmp_path / "x/setup.json").read_text())["taken"] == {"practice.name": "Mill Lane", "practice.country": "uk"}


def test_killed_in_the_middle_of_writing_the_answers_stay_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    dialogue = Dialogue(tmp_path, NOW.date, "Europe/London")
    dialogue.answer("Mill Lane")
    monkeypatch.setattr(os, "replace", lambda *_: (_ for _ in ()).throw(KeyboardInterrupt))
    with pytest.raises(KeyboardInterrupt):
        dialogue.answer("uk")
    monkeypatch.undo()
    again = Dialogue(tmp_path, NOW.date, "Europe/London")
    assert again.answers.taken == {"practice.name": "Mill Lane"}
