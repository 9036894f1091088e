"""What a group shares: put into practice files as text, laid under the practice's own values, and in each book's entry."""

import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from fettlebook.book.kinds import PracticeFileVersion
from fettlebook.cli.group import group
from fettlebook.demo import practice_text
from fettlebook.errors import Mendable
from fettlebook.exchange.group.shared import BEGIN, END, Shared, taken_over
from fettlebook.practice.load import read_practice
from fettlebook.rules.load import lay_rulebook
from fettlebook.rules.model import Rulebook

pytestmark = pytest.mark.invented
OWN = practice_text().decode()
STRICT = '[[own_rules]]\nid = "first.flush"\nvalue = 180\nshared = true\ndecided_by = "the group"\n'
PRODUCT = OWN[OWN.index("[[products]]") : OWN.index("[[products]]", OWN.index("[[products]]") + 1)]
ANOTHER = re.sub(r'^id = "[^"]*"', 'id = "group wipes"', PRODUCT, count=1, flags=re.MULTILINE)


def laid(text: str) -> tuple[Rulebook, tuple[str, ...]]:
    loaded = read_practice(text.encode(), "practice.toml")
    assert loaded.practice is not None, loaded.errors
    found = lay_rulebook(loaded.practice)
    assert found.rulebook is not None
    return found.rulebook, tuple(fault.what for fault in found.faults)


def own_rule(value: int, reason: str = "") -> str:
    return OWN + f'\n[[own_rules]]\nid = "first.flush"\nvalue = {value}\nreason = "{reason}"\n'


def test_the_group_s_value_holds_and_says_whose_it_is() -> None:
    rulebook, faults = laid(taken_over(OWN, [Shared("rules.toml", STRICT)], where="practice.toml"))
    step = rulebook.step("first.flush")
    assert step is not None
    assert (step.seconds, step.origin.layer, faults) == (180, "group", ())
    assert "shared by the group, decided by the group" in step.origin.source
    assert rulebook.layers[-1] == "group"


def test_a_practice_s_own_value_may_be_stricter_and_not_looser_without_a_reason() -> None:
    shared = [Shared("rules.toml", STRICT)]
    rulebook, faults = laid(taken_over(own_rule(240), shared, where="p"))
    step = rulebook.step("first.flush")
    assert step is not None
    assert (step.seconds, step.origin.layer, faults) == (240, "own", ())
    assert any("group" in replaced.origin.layer for replaced in step.overrides)
    assert rulebook.layers[-2:] == ("group", "own")
    rulebook, faults = laid(taken_over(own_rule(150), shared, where="p"))  # stricter than the packs, looser than the group
    step = rulebook.step("first.flush")
    assert step is not None
    assert (step.seconds, step.origin.layer) == (180, "group")
    assert len(faults) == 1
    assert "looser than" in faults[0]
    assert "shared by the group" in faults[0]
    rulebook, faults = laid(taken_over(own_rule(150, "new chairs, measured"), shared, where="p"))
    step = rulebook.step("first.flush")
    assert step is not None
    assert (step.seconds, step.origin.reason, faults) == (150, "new chairs, measured", ())


def test_the_group_may_not_loosen_without_a_reason_either() -> None:
    rulebook, faults = laid(taken_over(OWN, [Shared("rules.toml", STRICT.replace("180", "60"))], where="p"))
    step = rulebook.step("first.flush")
    assert step is not None
    assert step.seconds == 120
    assert len(faults) == 1


def test_a_limit_of_the_group_is_tightened_and_held_in_the_same_way() -> None:
    rows = laid(OWN)[0].limits
    limit = next(one for one in rows if one.stricter == "lower" and one.compare == "<=" and len(one.value) == 1)
    (value,) = limit.value
    shared = [Shared("r", f'[[own_rules]]\nid = "{limit.id}"\nvalue = {value / 2}\nshared = true\n')]
    assert laid(taken_over(OWN, shared, where="p"))[0].limit(limit.id).value == (value / 2,)  # type: ignore[union-attr]
    between = OWN + f'\n[[own_rules]]\nid = "{limit.id}"\nvalue = {value * 0.75}\n'
    rulebook, faults = laid(taken_over(between, shared, where="p"))
    assert rulebook.limit(limit.id).value == (value / 2,)  # type: ignore[union-attr]
    assert len(faults) == 1


def test_taking_over_again_replaces_the_older_edition_and_nothing_else() -> None:
    first = taken_over(OWN, [Shared("rules.toml", STRICT)], where="p")
    assert taken_over(first, [Shared("rules.toml", STRICT)], where="p") == first
    more = taken_over(first, [Shared("rules.toml", STRICT.replace("180", "200")), Shared("products.toml", ANOTHER)], where="p")
    assert more.count(BEGIN) == more.count(END) == 1
    assert "200" in more
    assert read_practice(more.encode(), "p").practice.products[-1].id == "group wipes"  # type: ignore[union-attr]
    assert taken_over(more, [], where="p").rstrip() == OWN.rstrip()
    mine = f"{more}\n# a word of ours below\n"
    assert taken_over(mine, [], where="p").rstrip().endswith("# a word of ours below")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[practice]\nname = 1", "can't be shared"),
        ("[[chairs]]\nid = 'x'", "can't be shared"),
        ("[[people]]\nid = 'x'", "can't be shared"),
        ('[[own_rules]]\nid = "first.flush"\nvalue = 180', "does not say so"),
        ("[[own_rules", "is no TOML"),
        (f"{BEGIN}x", "marks of a practice file"),
    ],
)
def test_what_can_t_be_shared_is_said(text: str, says: str) -> None:
    with pytest.raises(Mendable) as caught:
        taken_over(OWN, [Shared("rules.toml", text)], where="practice.toml")
    assert any(says in one.what for one in caught.value.findings)


def test_a_damaged_mark_is_said_and_nothing_is_guessed() -> None:
    first = taken_over(OWN, [Shared("rules.toml", STRICT)], where="p")
    for broken in (first.replace(END, ""), first + first[first.index(BEGIN) :]):
        with pytest.raises(Mendable, match="not one pair"):
            taken_over(broken, [], where="p")


def test_the_command_writes_every_good_practice_and_leaves_a_bad_one_as_it_was(tmp_path: Path) -> None:
    (tmp_path / "oak.toml").write_text(OWN)
    (tmp_path / "elm.toml").write_text(own_rule(150))  # looser than the group's, without a reason
    (tmp_path / "rules.toml").write_text(STRICT)
    entries = "".join(f'[[practices]]\nname = "{n}"\npractice = "{n}.toml"\nappointments = "b.ics"\n' for n in ("oak", "elm", "ash"))
    (tmp_path / "group.toml").write_text('shared = ["rules.toml"]\n' + entries)
    ended = CliRunner().invoke(group, [str(tmp_path / "group.toml"), "--take-over"])
    assert ended.exit_code == 1
    assert "oak: taken over" in ended.output
    assert "elm: left as it was" in ended.output
    assert "ash: left as it was" in ended.output
    assert (tmp_path / "elm.toml").read_text() == own_rule(150)
    written = (tmp_path / "oak.toml").read_text()
    assert laid(written)[0].step("first.flush").seconds == 180  # type: ignore[union-attr]
    assert 'id = "first.flush"' in PracticeFileVersion.of(written).text  # the entry alone says what was in force
    again = CliRunner().invoke(group, [str(tmp_path / "group.toml"), "--take-over"])
    assert "oak: has it already" in again.output
