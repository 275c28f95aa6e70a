"""The command line: exit codes, start-up, what is printed, and never a traceback for a user's mistake."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from equipdecide import cli
from equipdecide.cli import asking
from equipdecide.demo import main as demo
from equipdecide.scenario import load
from equipdecide.scenario.examples import example
from equipdecide.words import MINUS

ROOT = Path(__file__).parents[1]
SMALL, SHOP = str(example("first_sale")), str(example("deck_fittings"))
LARGE = {"numpy", "pandas", "scipy", "matplotlib"}
# Three faults: no decision date, a share without its sign, a loan of no payments
BROKEN = (
    Path(SMALL)
    .read_text(encoding="utf-8")
    .replace("decision_date: 2026-09-28\n", "")
    .replace("100 %", "100")
    .replace("payments: 60\n", "payments: 0\n")
)

# Lines of the dialogue in their order: a mill without a loan, and a new machine.
ANSWERS = [
    "mill, 200,000, 2021-05-17",
    "",
    "",
    "60,000 .. 71,000 .. 80,000",
    "none",
    "",
    "",
    "70",
    "300",
    "",
    "none",
    "300,000",
    "cuts 30 h, time 0.9",
    "",
    "174,000, not under 45,000",
    "",
]


def run(*args: str, encoding: str = "utf-8") -> subprocess.CompletedProcess[bytes]:
    env = {
        "PYTHONIOENCODING": encoding,
        "PYTHONPATH": str(ROOT),
        "PATH": "/usr/bin:/bin",
        "SYSTEMROOT": "",
        "EQUIPDECIDE_TRACE": "",
    }
    return subprocess.run(
        [sys.executable, "-m", "equipdecide", *args], cwd=ROOT, capture_output=True, env=env, check=False
    )


@pytest.fixture
def broken(tmp_path: Path) -> str:
    file = tmp_path / "broken.yaml"
    file.write_text(BROKEN, encoding="utf-8")
    return str(file)


# --- in a process of its own


def test_exit_codes(broken: str) -> None:
    fine, faults, missing, unknown = (
        run("check", SMALL),
        run("check", broken),
        run("check", "nowhere.yaml"),
        run("chekc", SMALL),
    )
    assert (fine.returncode, faults.returncode, missing.returncode, unknown.returncode) == (0, 2, 1, 1)
    said = faults.stdout.decode()
    assert "broken.yaml:" in said
    assert "3 faults." in said
    assert b"Did you mean 'check'?" in unknown.stderr
    for one in (fine, faults, missing, unknown):
        assert b"Traceback" not in one.stdout + one.stderr


@pytest.mark.parametrize("encoding", ["cp1252", "ascii"])
def test_an_old_console_gets_plain_signs(encoding: str) -> None:
    made = run("sale", SMALL, encoding=encoding)
    assert made.returncode == 0
    assert "-26,860.42" in made.stdout.decode(encoding)
    assert "?" not in made.stdout.decode(encoding)
    assert f"{MINUS}26,860.42" in run("sale", SMALL).stdout.decode("utf-8")


@pytest.mark.parametrize(
    ("args", "allowed"),
    [(["--help"], set()), (["compare", "--help"], set()), ([], set()), (["check", SMALL], {"pydantic"})],
)
def test_start_up_loads_no_large_library(args: list[str], allowed: set[str]) -> None:
    code = (
        f"import sys\nfrom equipdecide.cli import main\ntry:\n    main({args!r})\nexcept SystemExit:\n  "
        f"  pass\nprint('loaded', *sorted({LARGE | {'pydantic'}!r} & set(sys.modules)))"
    )
    made = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert set(made.stdout.splitlines()[-1].split()[1:]) <= allowed


# --- in this process


def call(capsys: pytest.CaptureFixture[str], *args: str) -> tuple[int, str, str]:
    code = cli.main(list(args))
    out, err = capsys.readouterr()
    return code, out, err


def test_alone_it_offers_four_choices(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = call(capsys)
    assert code == 0
    for words in (
        "answer fifteen questions",
        "fill in a starter file",
        "see an example",
        "read my file",
        "Nothing leaves this computer",
    ):
        assert words in out


@pytest.mark.parametrize(
    ("typed", "code", "said"),
    [
        (["2", "mine.yaml"], 0, "Written: mine.yaml"),
        (["4", f'"{SMALL}"'], 0, "Best: sell and replace"),
        (["3"], 0, "A whole shop"),
        ([""], 0, "1 to 4"),
        (["7"], 1, "'7' is not one of the four"),
    ],
)
def test_at_the_door(
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    typed: list[str],
    code: int,
    said: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("equipdecide.cli.front._somebody_is_there", lambda: True)
    answers = iter(typed)

    def asked(prompt: str = "") -> str:
        print(prompt)
        return next(answers)

    monkeypatch.setattr("builtins.input", asked)
    found, out, err = call(capsys)
    assert found == code
    assert said in out + err


@pytest.mark.parametrize(
    ("args", "keys"),
    [
        (["compare", SMALL], {"decision_date", "currency", "alternatives", "best", "best_ignoring_cash", "findings"}),
        (["sale", SMALL], {"machine", "date", "routes", "findings"}),
        (["hours", SHOP], {"night", "alternatives", "definition"}),
        (["breakeven", SMALL], {"leader", "runner_up", "flips", "never", "excluded", "extra_hours"}),
        (
            ["explain", SMALL, "keep", "npv"],
            {"name", "value", "unit", "sentence", "parts", "origin", "rule", "rule_says", "zeros"},
        ),
        (["check", SMALL], {"file", "faults", "alternatives"}),
    ],
)
def test_json(capsys: pytest.CaptureFixture[str], args: list[str], keys: set[str]) -> None:
    code, out, err = call(capsys, *args, "--json")
    assert (code, err) == (0, "")
    assert keys <= set(json.loads(out))


@pytest.mark.parametrize(
    "args",
    [
        ["compare", SHOP],
        ["sale", SHOP, "--on", "18 Sep 2026"],
        ["hours", SHOP],
        ["breakeven", SMALL],
        ["explain", SHOP, "keep"],
    ],
)
def test_text_goes_to_every_console(capsys: pytest.CaptureFixture[str], args: list[str]) -> None:
    code, out, _ = call(capsys, *args)
    assert code == 0
    out.replace(MINUS, "-").replace("\u00d7", "x").encode("ascii")
    assert max(len(line) for line in out.splitlines() if "worth.npv" not in line) <= 100


def test_figures_of_the_smallest_example(capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = call(capsys, "sale", SMALL, "--json")  # by hand in test_first_sale.py
    route = json.loads(out)["routes"][0]
    assert route["net_cash"] == pytest.approx(6_189.58, abs=0.001)
    assert route["payoff_by_schedule"] is None
    _, out, _ = call(capsys, "explain", SMALL, "reseller", "net cash", "--json")
    assert json.loads(out)["value"] == pytest.approx(6_189.58, abs=0.001)


def test_output_to_a_file(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    file = tmp_path / "sale.json"
    code, out, err = call(capsys, "sale", SMALL, "--json", "-o", str(file))
    assert (code, out) == (0, "")
    assert "Written to" in err
    assert json.loads(file.read_text(encoding="utf-8"))["machine"] == "sander"


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (["compare", "nowhere.yaml"], "There is no file nowhere.yaml."),
        (["compare", SMALL.replace("first_sale", "first_sail")], "Did you mean 'first_sale.yaml'?"),
        (["compare", str(ROOT / "scenarios")], "is a folder"),
        (["sale", SMALL, "--on", "2026-02-30"], "--on: there is no such day as '2026-02-30'"),
        (["sale", SMALL, "--on", "2020-01-01"], "2020-01-01 is not within the study"),
        (["sale", SMALL, "--machine", "sandr"], "Did you mean 'sander'?"),
        (["sale", SMALL, "--machine", "used sander"], "No offer for 'used sander'"),
        (["explain", SHOP, "upgarde"], "Did you mean 'upgrade'?"),
        (["explain", SHOP, "upgrade", "worth.npw"], "Nearest: worth.npv"),
        (["explain", SHOP, "upgrade", "npv", "--row", "2026"], "has no row '2026'"),
        (["breakeven", SMALL, "--course", "kep"], "Did you mean 'keep'?"),
        (["breakeven", SMALL, "--input", "study.rat"], "study.rate"),
        (["compare"], "the following arguments are required: FILE"),
        (["compare", SMALL, "-o", str(ROOT / "nowhere" / "x.txt")], "cannot be written"),
        (["new", str(ROOT / "nowhere" / "x.yaml")], "There is no folder"),
        (["brief", SHOP, "--for", "Inez"], "Did you mean 'Ines'?"),
        (["brief", SHOP, "--for", "partner:Inez"], "Did you mean 'Ines'?"),
        (["brief", SHOP, "--for", "acountant"], "Did you mean 'accountant'?"),
        (["brief", SHOP, "--pdf", "-o", "x.html"], "--pdf writes a file that ends in .pdf"),
        (["brief", SHOP, "-o", str(ROOT / "nowhere" / "x.html")], "There is no folder"),
        (["frobnicate"], "There is no command 'frobnicate'."),
    ],
)
def test_a_mistake_is_one_plain_sentence(capsys: pytest.CaptureFixture[str], args: list[str], said: str) -> None:
    code, out, err = call(capsys, *args)
    assert (code, out) == (1, "")
    assert said.lower() in err.lower()
    assert "Traceback" not in err
    assert len(err.strip().splitlines()) == 1


@pytest.mark.parametrize("verb", ["compare", "sale", "hours", "breakeven"])
def test_faults_of_a_file_are_all_said_by_every_verb(
    capsys: pytest.CaptureFixture[str], broken: str, verb: str
) -> None:
    code, out, err = call(capsys, verb, broken)
    assert (code, out) == (2, "")
    assert "3 faults." in err


def test_faults_as_json(capsys: pytest.CaptureFixture[str], broken: str) -> None:
    code, out, _ = call(capsys, "check", broken, "--json")
    faults = json.loads(out)["faults"]
    assert code == 2
    assert len(faults) == 3
    assert all(set(fault) == {"file", "line", "column", "path", "what", "mend"} for fault in faults)


def test_an_unforeseen_error_is_ours_and_says_so(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def wrong(*_: object) -> None:
        raise ZeroDivisionError("division by zero")

    monkeypatch.setattr("equipdecide.decide.compare.compare", wrong)
    code, _, err = call(capsys, "compare", SMALL)
    assert code == 1
    assert "a fault of equipdecide, not of your file (ZeroDivisionError: division by zero)" in err
    monkeypatch.setenv("EQUIPDECIDE_TRACE", "1")
    with pytest.raises(ZeroDivisionError):
        cli.main(["compare", SMALL])


def test_new_writes_a_file_that_reads_and_writes_over_nothing(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    file = tmp_path / "mine.yaml"
    code, out, _ = call(capsys, "new", str(file))
    assert code == 0
    assert "equipdecide check" in out
    before = file.read_text(encoding="utf-8")
    assert load(file).alternatives
    code, _, err = call(capsys, "new", "-o", str(file))
    assert code == 1
    assert "is there already" in err
    assert file.read_text(encoding="utf-8") == before


def _answers(monkeypatch: pytest.MonkeyPatch, lines: list[str]) -> list[str]:
    """Type the lines one after another, then the end of input; returns the prompts as they come."""
    asked: list[str] = []
    left = iter(lines)

    def typed() -> str:
        try:
            return next(left)
        except StopIteration:
            raise EOFError from None

    monkeypatch.setattr(asking, "say_prompt", lambda prompt, where: asked.append(prompt))
    monkeypatch.setattr("builtins.input", typed)
    return asked


def test_ask_answers_roughly_and_writes_the_file(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    asked = _answers(monkeypatch, ANSWERS)
    file = tmp_path / "decision.yaml"
    code, out, err = call(capsys, "ask", "-o", str(file))
    assert (code, err) == (0, "")
    assert len(asked) == 16  # no upgrade: its second line is not asked
    answer = out[out.index("ROUGH ANSWER") :]
    heads = [
        "The answer",
        "What would turn it",
        "The guesses that decide",
        "If it is sold",
        "Find out first",
        "Rough: ",
    ]
    places = [answer.index(f"\n{head}") for head in heads]
    assert places == sorted(places)
    assert "If no extra hour is sold" in answer
    assert "from: default" in " ".join(answer.split())
    assert len(answer.splitlines()) < 45  # one screen
    assert "So far, very roughly:" in out
    assert load(file).machine_in_question == ["mill"]
    assert set(load(file).alternatives) == {"keep", "replace", "sell and do without"}
    assert [path.name for path in tmp_path.iterdir()] == ["decision.yaml"]  # the answers kept on the way are gone


def test_ask_stopped_goes_on_where_it_was(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    file, kept = tmp_path / "decision.yaml", tmp_path / "decision.answers.json"
    _answers(monkeypatch, [*ANSWERS[:5], "stop"])
    code, _, err = call(capsys, "ask", "-o", str(file))
    assert code == 1
    assert str(kept) in err and f"ask -o {file} goes on from there" in err
    assert not file.exists()
    asked = _answers(monkeypatch, ["", *ANSWERS[5:]])
    code, out, _ = call(capsys, "ask", "-o", str(file))
    assert code == 0
    assert "up to question 5 are kept" in asked[0]
    assert "6 of 15" in out and "5 of 15" not in out.replace("15 of 15", "")
    assert load(file).machine_in_question == ["mill"] and not kept.exists()


@pytest.mark.parametrize("text", ["no json", "[]", '{"next question": 3}', '{"next question": "x", "answers": {}}'])
def test_ask_begins_afresh_where_kept_answers_cannot_be_read(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path, text: str
) -> None:
    (tmp_path / "a.answers.json").write_text(text, encoding="utf-8")
    _answers(monkeypatch, ANSWERS)
    code, out, _ = call(capsys, "ask", "-o", str(tmp_path / "a.yaml"))
    assert code == 0
    assert "beginning afresh" in out and "\n1 of 15" in out


def test_ask_answers_at_once_when_told_to(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    _answers(monkeypatch, [*ANSWERS[:8], "answer"])
    code, out, _ = call(capsys, "ask", "-o", str(tmp_path / "a.yaml"))
    assert code == 0
    assert "ROUGH ANSWER" in out and "was not tested: cash or floor is not given" in out


def test_ask_as_json_keeps_the_questions_apart(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    _answers(monkeypatch, ANSWERS)
    code, out, err = call(capsys, "ask", "--json", "-o", str(tmp_path / "a.yaml"))
    assert code == 0
    assert set(json.loads(out)) == {"file", "rough", "comparison", "breakeven"}
    assert "Fifteen questions" in err


def test_ask_stopped_half_way_writes_nothing(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def ends() -> str:
        raise EOFError

    monkeypatch.setattr("builtins.input", ends)
    code, _, err = call(capsys, "ask", "-o", str(tmp_path / "a.yaml"))
    assert code == 1
    assert "Nothing was written" in err
    assert not list(tmp_path.iterdir())


def test_brief_writes_the_page_and_says_where(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    file = tmp_path / "perrin.html"
    code, out, _ = call(capsys, "brief", SMALL, "-o", str(file), "--for", "Perrin")
    assert code == 0
    assert str(file) in out
    assert "Nothing was sent anywhere" in out
    assert "sander" in file.read_text(encoding="utf-8")


@pytest.mark.parametrize("reader", ["lender", "accountant", "partner:Perrin"])
def test_brief_for_a_reader(capsys: pytest.CaptureFixture[str], tmp_path: Path, reader: str) -> None:
    file = tmp_path / "page.html"
    code, out, _ = call(capsys, "brief", SMALL, "-o", str(file), "--for", reader, "--json")
    assert code == 0 and json.loads(out)["reader"] == reader
    first = {"lender": "What is asked", "accountant": "Which course", "partner:Perrin": "The answer"}[reader]
    assert f">{first}</h2>" in file.read_text(encoding="utf-8")


def test_a_pdf_without_a_browser_is_a_page_to_print(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from equipdecide.views import printing

    monkeypatch.setattr(printing, "find_browser", lambda: None)
    monkeypatch.setattr(printing, "find_weasyprint", lambda: None)
    code, out, _ = call(capsys, "brief", SMALL, "--pdf", "-o", str(tmp_path / "page.pdf"))
    assert code == 0 and "open it and print it" in out
    assert [file.name for file in tmp_path.iterdir()] == ["page.html"]


def test_form_is_written_checked_and_made_a_file(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    import openpyxl

    from equipdecide.scenario.form.book import rows

    form, yaml_file = tmp_path / "form.xlsx", tmp_path / "mill.yaml"
    assert call(capsys, "form", str(form))[0] == 0
    code, out, _ = call(capsys, "check", str(form))
    assert code == 2 and "form.xlsx, Questions!D" in out and "(Its name in the shop)" in out
    assert (tmp_path / "form_marked.xlsx").is_file() and "form_marked.xlsx" in out
    book = openpyxl.load_workbook(form)
    for key, value in {
        "machine": "mill",
        "cost": 100_000,
        "in_service": "2021-09-15",
        "hour_worth": 50,
        "owed": "none",
    }.items():
        book["Questions"][f"D{rows()[key]}"] = value
    book.save(form)
    assert call(capsys, "compare", str(form))[0] == 0
    assert call(capsys, "form", str(form), "--to", str(yaml_file))[0] == 0
    assert call(capsys, "check", str(yaml_file))[0] == 0
    assert call(capsys, "form", str(form))[0] == 1  # it is there already


def test_list_of_figures(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = call(capsys, "explain", SHOP, "upgrade", "--list", "ines")
    assert code == 0
    assert "tax of Ines" in out.splitlines()


def test_demo(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.chdir(tmp_path)
    said: list[str] = []
    assert demo(said.append) == 0
    text = "\n".join(said)
    assert text.index("short by 1,314") < text.index("A whole shop")  # the smallest example comes first
    assert "16,016.69" in text
    assert "Best that can be paid for: upgrade" in text
    page = tmp_path / "out" / "brief.html"
    assert str(page.resolve()) in text
    assert page.read_text(encoding="utf-8").lower().startswith("<!doctype html>")
