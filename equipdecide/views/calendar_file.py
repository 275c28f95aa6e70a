"""The list of what to do as a calendar file that any calendar program reads (iCalendar, RFC 5545).

Every entry is an event of a whole day with a reminder. The same list gives the same bytes; an event keeps its name for
good, so that a list made again brings the calendar up to date.
"""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime, timedelta
from pathlib import Path

from equipdecide.after.todo import TodoItem, TodoList
from equipdecide.views.todo_page import what_in_words

REMIND_DAYS = 3  # before the day; common practice, no source
DOMAIN = "equipdecide.invalid"  # a name that can belong to nobody: RFC 2606


def calendar_file(todo: TodoList, path: str | Path | None = None) -> bytes:
    """Return the list as an iCalendar file, and write it to `path` where one is given.

    Raises ImportError, with what to install, where the package ``icalendar`` is missing.
    """
    try:
        from icalendar import Calendar
    except ImportError:
        raise ImportError("a calendar file needs the package icalendar: pip install 'equipdecide[calendar]'") from None
    calendar = Calendar()
    calendar.add("prodid", "-//equipdecide//after the decision//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", f"After deciding {todo.chosen}")
    for item in todo.items:
        calendar.add_component(_event(todo, item))
    made: bytes = calendar.to_ical()
    if path is not None:
        Path(path).write_bytes(made)
    return made


def _event(todo: TodoList, item: TodoItem):  # type: ignore[no-untyped-def]
    from icalendar import Alarm, Event

    event = Event()
    name = hashlib.sha256(f"{todo.uid}|{item.key}".encode()).hexdigest()[:24]
    event.add("uid", f"{name}@{DOMAIN}")
    # when the entry was made: the day of the decision, so that the file is the same whenever it is written
    event.add("dtstamp", datetime(todo.decided_on.year, todo.decided_on.month, todo.decided_on.day, tzinfo=UTC))
    event.add("dtstart", item.by)
    event.add("dtend", item.by + timedelta(days=1))  # the day after: an end is not part of an event, RFC 5545 3.6.1
    event.add("summary", f"{'Done: ' if item.done else ''}{what_in_words(item)}")
    asked = [f"Ask {item.ask}."] if item.ask else []
    event.add("description", "\n".join([f"Who: {item.who}.", f"Why: {item.why}.", f"Basis: {item.basis}.", *asked]))
    event.add("transp", "TRANSPARENT")
    if not item.done:
        alarm = Alarm()
        alarm.add("action", "DISPLAY")
        alarm.add("description", item.what)
        alarm.add("trigger", timedelta(days=-REMIND_DAYS))
        event.add_component(alarm)
    return event
