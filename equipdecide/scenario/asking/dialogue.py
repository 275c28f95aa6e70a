"""The fifteen questions as a dialogue: one line of answer each, read back, asked singly what is not clear; back, stop,
answer.

The dialogue only gathers what is typed, by the key of each blank: :mod:`equipdecide.scenario.asking.line_reading` reads
a line, :mod:`equipdecide.scenario.asking.questions` makes the scenario of it. What was understood is said after each
line, so that a misreading is seen at once.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping

from equipdecide.scenario.amounts import AmountError
from equipdecide.scenario.asking.line_reading import answered, shown, strange, understood
from equipdecide.scenario.asking.lines import LINES, ONLY_WITH, Line, left_out
from equipdecide.scenario.asking.questions import (
    BLANKS,
    OWN_RATES,
    QUESTIONS,
    SELLING_COSTS,
    AnswerError,
    answers_problems,
    scenario_from_answers,
)
from equipdecide.scenario.asking.typed import NONE, UNKNOWN, in_digits
from equipdecide.scenario.models import Scenario
from equipdecide.words import wrap

Input = Callable[[str], str]
Print = Callable[[str], None]

HOW = (
    "Fifteen questions, one line each, written as on paper: about 60k, 50k to 60k, 7 1/2 %, next spring.\n"
    "Enter or ? takes what is shown. back: one back. where: where to find it. stop: go on another day.\n"
    "answer: from question 9 on, the answer now with the defaults for the rest."
)
FIRST_ANSWER = 9  # from this question on all that must be answered is
SO_FAR_AFTER = 12  # the question after which there is something to compare


class Stopped(Exception):
    """The person stopped; the answers given so far were handed to `keep`."""


class _Back(Exception):
    pass


class _Enough(Exception):
    pass


def ask(
    input: Input = input,
    print: Print = print,
    today: dt.date | None = None,
    *,
    kept: Mapping[str, str] | None = None,
    reached: int = 1,
    keep: Callable[[dict[str, str], int], None] | None = None,
    so_far: Callable[[Scenario], str] | None = None,
) -> Scenario:
    """Ask the fifteen questions and return the scenario; what is not understood is asked again by itself.

    `input` and `print` may be replaced (a script, a notebook). `kept` are answers of before, and `reached` the question
    to go on from; `keep` is given the answers and the next question's number after each. `so_far` turns the scenario of
    the answers so far into a line that is shown on the way. Ends with EOFError where `input` has no more answers, with
    :class:`Stopped` where the person stops.
    """
    return _Dialogue(input, print, today or dt.date.today(), dict(kept or {}), keep, so_far).run(reached)


class _Dialogue:
    def __init__(
        self,
        input: Input,
        print: Print,
        today: dt.date,
        answers: dict[str, str],
        keep: Callable[[dict[str, str], int], None] | None,
        so_far: Callable[[Scenario], str] | None,
    ) -> None:
        self.input, self.print, self.today = input, print, today
        self.answers, self.keep, self.so_far = answers, keep, so_far
        self.number = 1
        self.alone = False  # whether one figure is asked by itself

    def run(self, reached: int) -> Scenario:
        self.print(HOW)
        at = next((k for k, line in enumerate(LINES) if line.number >= reached), 0)
        trail = [k for k in range(at) if self.needed(LINES[k])]
        while at < len(LINES):
            line = LINES[at]
            if not self.needed(line):
                at += 1
                continue
            self.number = line.number
            try:
                self.line(line)
            except _Back:
                if not self.alone:  # from a figure asked singly back to its own line
                    at = trail.pop() if trail else at
                continue
            except _Enough:
                break
            trail.append(at)
            at += 1
            last = at == len(LINES) or LINES[at].number != line.number
            if self.keep:
                self.keep(dict(self.answers), line.number + 1 if last else line.number)
            if last and line.number == SO_FAR_AFTER:
                self.tell_so_far()
        return self.finish()

    def needed(self, line: Line) -> bool:
        return bool(set(line.keys) - left_out(self.answers))

    def heard(self, prompt: str) -> str:
        answer = self.input(prompt).strip()
        word = answer.lower().strip("\"'")
        if word == "back":
            raise _Back
        if word in ("stop", "quit", "exit"):
            raise Stopped
        if word == "where":
            self.say(QUESTIONS[self.number - 1].where)
            return self.heard(prompt)
        if word == "answer":
            if self.number >= FIRST_ANSWER:
                raise _Enough
            self.print(f"   Questions up to {FIRST_ANSWER - 1} are needed for a first answer.")
            return self.heard(prompt)
        return answer

    def line(self, line: Line) -> None:
        """Ask one line until it is understood or asked singly; the answers are set."""
        question = QUESTIONS[line.number - 1]
        self.alone = False
        self.print(
            "\n" + "\n".join(wrap(f"{line.number} of {len(QUESTIONS)}. {line.ask or question.ask}", 96, "", "   "))
        )
        if line.where:
            self.say(line.where)
        self.print(f"   Such as: {line.such_as}")
        before_it = dict(self.answers)
        before = {key: self.answers[key] for key in line.keys if self.answers.get(key)}
        if before:
            self.say("Enter keeps: " + self.told(before))
        elif taken := _taken(line.keys, self.answers):
            self.say("Enter takes: " + taken)
        typed = self.heard("> ")
        if not typed and before:
            return
        said = understood(typed, line.keys, self.answers, self.today)
        for key in line.keys:
            self.answers.pop(key, None)
        got = {key: answer for key, answer in said.answers.items() if answer != "?" and not self.bad(key, answer)}
        self.answers |= got
        if got:
            self.say("Noted: " + self.told({key: got[key] for key in line.keys if key in got}))
        if "taxed_as" in said.answers and said.answers["taxed_as"] == "?":
            self.print(
                "   An LLC is taxed by its owners; if it elected otherwise, go back and write S or C corporation."
            )
        if got.get("taxed_as") == "C corporation" and "tax_rate" in got:
            self.say(OWN_RATES)
        if "finance_rate" in line.keys and any("leas" in part.lower() for part in said.aside):
            said.aside[:] = [part for part in said.aside if "leas" not in part.lower()]
            self.say("A lease is not asked for here: a loan is taken. Write the lease under `financing:` of the file.")
        if said.unclear or (said.aside and not got and not said.answers):
            parts = "; ".join(f"'{part}'" for part in said.unclear or said.aside)
            open_keys = [key for key in line.keys if key not in got and key not in left_out(self.answers)]
            self.say(f"Not understood: {parts}." + (" One at a time, then:" if open_keys else ""))
            self.singly(open_keys)
        else:
            if said.aside:
                self.say("Left aside: " + "; ".join(f"'{part}'" for part in said.aside))
            if got:
                self.rest(tuple(key for key in line.keys if key not in got), before_it)
        self.singly([key for key in line.keys if BLANKS[key].must and not self.answers.get(key)])
        for key in line.keys:
            if self.answers.get(key) and strange(key, self.answers[key]):
                self.sure(key)
        self.fitting(line)

    def say(self, text: str) -> None:
        self.print("\n".join(wrap(text, 96, "   ")))

    def rest(self, keys: tuple[str, ...], before: Mapping[str, str]) -> None:
        """Say which defaults were taken for what a line leaves open, if they differ from those shown above it."""
        now = _defaults(keys, self.answers)
        above = _defaults(keys, before)
        if news := {key: text for key, text in now.items() if above.get(key) != text}:
            self.say("Taken: " + "; ".join(f"{_short(key)} {text}" for key, text in news.items()))

    def bad(self, key: str, answer: str) -> bool:
        try:
            BLANKS[key].read(answer)
        except AmountError as error:
            self.print(f"   {error.what}. {error.mend}.")
            return True
        return False

    def told(self, answers: Mapping[str, str]) -> str:
        return "; ".join(f"{_short(key)} {shown(key, answer)}".strip() for key, answer in answers.items())

    def singly(self, keys: list[str]) -> None:
        for key in keys:
            if key not in left_out(self.answers):
                self.one(key)

    def one(self, key: str) -> None:
        """Ask one blank until it is answered or its default is taken."""
        blank = BLANKS[key]
        self.alone = True
        while True:
            typed = self.heard(f"   {blank.prompt}")
            low = typed.lower()
            if low in UNKNOWN or (low in NONE and not blank.none and not blank.must):
                if not blank.must:
                    self.answers.pop(key, None)
                    return
                self.print(f"   {_HELP.get(key, 'This must be answered; a guess is enough.')}")
                continue
            part = in_digits(typed) if blank.kind not in ("name", "owners") else typed
            answer = answered(key, part, self.answers, self.today) or typed
            try:
                if answer != "?":
                    blank.read(answer)
            except AmountError as error:
                self.print(f"   {error.what}. {error.mend}.")
                continue
            self.answers[key] = answer
            return

    def sure(self, key: str) -> None:
        """Ask back an answer that is far from usual."""
        kept = self.answers[key]
        self.alone = True
        said = self.heard(f"   {BLANKS[key].label}: {shown(key, kept)}, really? Write yes, or the right figure: ")
        if said.lower() in ("y", "yes"):
            return
        answer = answered(key, in_digits(said), self.answers, self.today) if said else None
        if answer is None:
            self.one(key)
        else:
            self.answers[key] = answer

    def fitting(self, line: Line) -> None:
        """Ask again, at their own line, what does not fit the answers before it."""
        for _ in range(20):
            wrong = {key: text for key, text in answers_problems(self.answers, self.today).items() if key in line.keys}
            if not wrong:
                return
            for key, text in wrong.items():
                if key in _HELP and not self.answers.get(key):
                    text = _HELP[key]
                self.print(f"   {text}")
                self.one(key)

    def tell_so_far(self) -> None:
        if self.so_far is None:
            return
        try:
            told = self.so_far(scenario_from_answers(self.answers, self.today))
        except (AnswerError, ValueError):
            return
        self.print(f'\n   So far, very roughly: {told}\n   "answer" stops here; the questions left make it better.')

    def finish(self) -> Scenario:
        while True:
            try:
                return scenario_from_answers(self.answers, self.today)
            except AnswerError as error:
                if not set(error.problems) & set(BLANKS):
                    raise
                for key, text in error.problems.items():
                    if key in BLANKS:
                        self.print(f"   {text}")
                        self.one(key)


_HELP = {
    "hour_worth": "A guess is enough: what you charge for an hour on it, less what the hour uses up. Such as: about 60.",
    "cost": "A guess is enough, such as: about 30k.",
    "in_service": "A guess is enough, such as: 1998, or spring 2015.",
    "owed": "This one is needed: none if nothing is owed; else the balance, about is enough.",
}


# What is read back, in a word or two; the labels in full stand in the form and where a figure is asked singly.
_WORDS = {
    "machine": "", "cost": "cost", "in_service": "first parts", "deducted": "", "taxed_as": "taxed as", "owners": "owners",
    "tax_rate": "tax", "state": "state", "worth": "", "route": "by", "commission": "cost of selling", "owed": "owed",
    "loan_rate": "at", "payments_left": "payments left", "payment": "a month", "shift_week": "hours there",
    "hours_week": "hours it cuts", "nights_week": "nights a week", "night_hours": "hours each",
    "nights_of_ten": "of ten run through", "hour_worth": "", "extra_hours": "", "repairs": "repairs",
    "lost_days": "days lost", "upgrade_price": "", "upgrade_weeks": "weeks", "upgrade_hours": "hours it cuts",
    "upgrade_cycle": "time a part", "upgrade_nights_week": "nights a week", "upgrade_nights_of_ten": "of ten run through",
    "upgrade_repairs": "repairs", "new_price": "price", "new_name": "called", "new_extras": "not in the quote",
    "new_weeks": "weeks", "new_hours": "hours it cuts", "new_cycle": "time a part", "new_nights_week": "nights a week",
    "new_night_hours": "hours each", "new_nights_of_ten": "of ten run through", "new_repairs": "repairs",
    "finance_rate": "at", "finance_months": "months", "deposit": "down", "cash": "cash", "floor": "floor",
    "years": "years", "earns": "elsewhere earns",
}  # fmt: skip


def _short(key: str) -> str:
    return _WORDS[key]


def _defaults(keys: tuple[str, ...], answers: Mapping[str, str]) -> dict[str, str]:
    """Return the defaults that stand for blanks without an answer."""
    skip = left_out(answers)
    if answers.get("payment"):  # then the payments left follow, or the payment is known
        skip.add("payments_left")
    if answers.get("payments_left") or answers.get("owed"):
        skip.add("payment")
    return {
        key: _default_of(key, answers) for key in keys if key not in skip and key != "new_name" and not BLANKS[key].must
    }


def _taken(keys: tuple[str, ...], answers: Mapping[str, str]) -> str:
    """Say what Enter takes for a whole line; nothing where it must be answered."""
    if keys[0] == "owed" or any(BLANKS[key].must for key in keys):
        return ""
    told = _defaults(keys[:1] if keys[0] in ONLY_WITH else keys, answers)
    return "; ".join(f"{_short(key)} {text}".strip() for key, text in told.items())


def _default_of(key: str, answers: Mapping[str, str]) -> str:
    """The default of a blank in words, where other answers change it."""
    none_now = answers.get("nights_week", "").lower() in (*UNKNOWN, *NONE, "0")
    if key == "new_night_hours" and none_now:
        return BLANKS["night_hours"].default
    if key == "new_nights_of_ten" and none_now:
        return BLANKS["nights_of_ten"].default
    if key == "new_nights_week" and none_now:
        return "none"
    if key == "taxed_as" and len(BLANKS["owners"].read(answers["owners"]) if answers.get("owners") else {}) > 1:
        return "partnership"
    if key == "commission" and (usual := SELLING_COSTS.get(answers.get("route", ""))):
        return usual
    default = BLANKS[key].default
    return {"left out": "none", "the floor is not tested": "not tested"}.get(default, default.split(":")[0])
