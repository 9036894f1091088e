"""The house's own rules: help is quick and complete, every command is documented, science cites, nothing private is in the files."""

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

from fettlebook.cli import COMMANDS

ROOT = Path(__file__).parents[2]
SCIENCE = sorted(p for place in ("*.py", "cycles/*.py") for p in (ROOT / "src/fettlebook/science").glob(place) if p.name != "__init__.py")


def _tracked() -> list[Path]:
    out = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    return [ROOT / line for line in out.splitlines() if (ROOT / line).is_file()]


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help_and_stands_in_the_docs(command: str) -> None:
    done = subprocess.run([sys.executable, "-m", "fettlebook", command, "--help"], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    pages = "\n".join(p.read_text("utf-8") for p in [ROOT / "README.md", *(ROOT / "docs/assistant").glob("*.md")])
    assert f"fettlebook {command}" in pages


def test_help_imports_no_heavy_library() -> None:
    code = (
        "import sys, fettlebook.cli as c\n"
        "try: c._fettlebook.main(['--help'])\n"
        "except SystemExit: pass\n"
        "print([m for m in ('numpy','scipy','ortools','pandas','fastapi','pydantic','rich','sqlalchemy') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip().endswith("[]")


@pytest.mark.parametrize("module", SCIENCE, ids=lambda p: p.stem)
def test_a_science_module_declares_each_source_that_it_cites_and_how_sure_it_is(module: Path) -> None:
    text = module.read_text("utf-8")
    head = ast.get_docstring(ast.parse(text)) or ""
    declared = dict(re.findall(r"^\[([A-Z][A-Za-z0-9]*)\] (.+(?:\n    .+)*)", head, re.M))
    used = set(re.findall(r"(?<!\w)\[([A-Z][A-Za-z0-9]{0,3})\](?!\()", text.replace(head, "")))
    used -= {"T", "Any"}
    assert used <= set(declared), f"cited but not declared: {sorted(used - set(declared))}"
    for tag, entry in declared.items():
        assert re.search(r"\b(read|secondary|memory|practice|computed)\b", entry), f"[{tag}] does not say how sure"


# A folder at the root of somebody's machine, not one of that name inside the project ("web/work/") nor an address ("/work").
MACHINE = re.compile(
    "|".join(
        [
            r"(?<![\w.}-])/(?:work|opt|home|root)/[\w.]",
            r"(?<![\w.}-])/tmp/" + "bash",
            r"\b[A-Z]:\\Users\\",
            "files\\.python" + "hosted",
            "pypi" + "\\.org/simple",
            "registry\\.npm" + "js",
        ]
    )
)


def test_no_file_names_a_path_of_a_machine_or_a_registry_host() -> None:
    for path in _tracked():
        if path.suffix in {".png", ".npz", ".ttf", ".otf", ".woff2", ".sqlite", ".pdf"}:
            continue
        found = MACHINE.search(path.read_text("utf-8", errors="replace"))
        assert not found, f"{path.relative_to(ROOT)}: {found.group()}"


@pytest.mark.parametrize("folder", ["work", "opt", "home", "root"])
def test_a_machines_path_is_told_from_a_folder_of_the_same_name(folder: str) -> None:
    for before in ("", "see ", '"', "(", "file://", "=", ":", "\n"):
        assert MACHINE.search(f"{before}/{folder}/x")
    for inside in (f"web/{folder}/x", f"../{folder}/x", f"{{place}}/{folder}/x", f"/{folder}", f"'/{folder}/'"):
        assert not MACHINE.search(inside), inside


def test_every_shown_word_stands_in_the_list_of_words() -> None:
    from fettlebook.plan.day import DayVerdict
    from fettlebook.plan.set_stages import STAGES
    from fettlebook.rules.model import Computed, Subject, When

    words = (ROOT / "docs/carry-on/words.md").read_text("utf-8")
    for enum in (DayVerdict, When, Subject, Computed):
        for member in enum:
            assert f"`{member.value}`" in words, f"{enum.__name__}.{member.name}"
    for stage in STAGES:
        assert f"`{stage}`" in words, stage
